-- name: read_upkeep
select id, coalesce(version, 0) as version, property_id, visit_id, kind, at, feature_id, told_by, received_at from upkeep
where business_id = :business_id and id = :id;

-- name: put_upkeep
-- Rows that stand alone are written here, those inside a visit by the visits slice; a check keeps them apart.
insert into upkeep (business_id, id, version, property_id, kind, at, feature_id, told_by, received_at)
select :business_id, r.id, r.version, r.property_id, r.kind, r.at, r.feature_id, r.told_by, r.received_at
from jsonb_populate_record(null::upkeep, :row) r
on conflict (business_id, id) do update
set version = excluded.version, property_id = excluded.property_id, kind = excluded.kind,
    at = excluded.at, feature_id = excluded.feature_id, told_by = excluded.told_by,
    received_at = excluded.received_at;

-- name: list_all_upkeep
select id, coalesce(version, 0) as version, property_id, visit_id, kind, at, feature_id, told_by, received_at from upkeep
where business_id = :business_id and id > :after_id::uuid
  and (:property_id::uuid is null or property_id = :property_id)
order by id limit :most;

-- name: delete_upkeep
delete from upkeep where business_id = :business_id and id = :id;
