-- name: key_row
-- Spans businesses: the key's id is all that a request brings. A SECURITY DEFINER function gives one row.
select business_id, id, worker_id, scopes, hash, expires_at, revoked_at from key_row(:key_id);
