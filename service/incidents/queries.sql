-- name: read_incident
select id, version, property_id, visit_id, kind, happened_at, closed_at, description, measures, received_at from incident
where business_id = :business_id and id = :id;

-- name: put_incident
insert into incident (business_id, id, version, property_id, visit_id, kind, happened_at, closed_at, description, measures, received_at)
select :business_id, r.id, r.version, r.property_id, r.visit_id, r.kind, r.happened_at, r.closed_at, r.description, r.measures, r.received_at
from jsonb_populate_record(null::incident, :row) r
on conflict (business_id, id) do update
set version = excluded.version, property_id = excluded.property_id, visit_id = excluded.visit_id, kind = excluded.kind,
    happened_at = excluded.happened_at, closed_at = excluded.closed_at, description = excluded.description, measures = excluded.measures, received_at = excluded.received_at;

-- name: list_incidents
select id, version, property_id, visit_id, kind, happened_at, closed_at, description, measures, received_at from incident
where business_id = :business_id and id > :after_id::uuid
  and (:property_id::uuid is null or property_id = :property_id)
order by id limit :most;
