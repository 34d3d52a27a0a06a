-- name: read_permit
select id, version, number, authority, region, species, mechanisms, quota, from_on, until_on, report_due_on, received_at from permit
where business_id = :business_id and id = :id;

-- name: put_permit
insert into permit (business_id, id, version, number, authority, region, species, mechanisms, quota, from_on, until_on, report_due_on, received_at)
select :business_id, r.id, r.version, r.number, r.authority, r.region, r.species, r.mechanisms, r.quota, r.from_on, r.until_on, r.report_due_on, r.received_at
from jsonb_populate_record(null::permit, :row) r
on conflict (business_id, id) do update
set version = excluded.version, number = excluded.number, authority = excluded.authority,
    region = excluded.region, species = excluded.species, mechanisms = excluded.mechanisms,
    quota = excluded.quota, from_on = excluded.from_on, until_on = excluded.until_on,
    report_due_on = excluded.report_due_on, received_at = excluded.received_at;

-- name: list_permits
select id, version, number, authority, region, species, mechanisms, quota, from_on, until_on, report_due_on, received_at from permit
where business_id = :business_id and id > :after_id::uuid
order by id limit :most;
