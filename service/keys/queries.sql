-- name: list_keys
-- Spans businesses: the keys' ids are all that requests bring. A SECURITY DEFINER function gives one row for each.
select k.business_id, k.id, k.worker_id, k.scopes, k.hash, k.expires_at, k.revoked_at
from unnest(:key_ids::uuid[]) as u (id) cross join lateral key_row(u.id) as k;
