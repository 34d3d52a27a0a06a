-- name: insert_business
-- Run by the migrator, who stands above the businesses.
insert into business (business_id, name, zone, created_at, received_at)
values (:id, :name, :zone, :now, :now);

-- name: insert_counter
-- Run by the migrator, beside insert_business.
insert into counter (business_id, name, value) values (:id, 'event', 0);

-- name: read_business
select business_id as id, version, name, zone, currency, licences, issue, hold_hours, keep_years,
       house_policies, received_at
from business where business_id = :business_id and business_id = :id;

-- name: put_business
update business b
set version = r.version, name = r.name, zone = r.zone, currency = r.currency, licences = r.licences,
    issue = r.issue, hold_hours = r.hold_hours, keep_years = r.keep_years,
    house_policies = r.house_policies, received_at = r.received_at
from jsonb_populate_record(null::business, :row) r
where b.business_id = :business_id;

-- name: read_worker
select id, version, name, licences, active, received_at, erased from worker
where business_id = :business_id and id = :id;

-- name: put_worker
insert into worker (business_id, id, version, name, licences, active, received_at)
select :business_id, r.id, r.version, r.name, r.licences, r.active, r.received_at
from jsonb_populate_record(null::worker, :row) r
on conflict (business_id, id) do update
set version = excluded.version, name = excluded.name, licences = excluded.licences, active = excluded.active,
    received_at = excluded.received_at;

-- name: list_workers
select id, version, name, licences, active, received_at, erased from worker
where business_id = :business_id and id > :after_id::uuid
order by id limit :most;

-- name: insert_api_key
insert into api_key (business_id, id, name, worker_id, scopes, hash, last_four, created_at, expires_at)
values (:business_id, :id, :name, :worker_id, :scopes, :hash, :last_four, :created_at, :expires_at)
returning id, name, scopes, worker_id, last_four, created_at, expires_at, revoked_at;

-- name: list_api_keys
select id, name, scopes, worker_id, last_four, created_at, expires_at, revoked_at from api_key
where business_id = :business_id and id > :after_id::uuid
order by id limit :most;

-- name: revoke_api_key
update api_key set revoked_at = coalesce(revoked_at, :now)
where business_id = :business_id and id = :id
returning id, name, scopes, worker_id, last_four, created_at, expires_at, revoked_at;
