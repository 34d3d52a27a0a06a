-- name: read_treatment
select id, coalesce(version, 0) as version, property_id, visit_id, method, product, registration, amount::text as amount, unit, applied_at, applied_by, told_by, feature_id, received_at from treatment
where business_id = :business_id and id = :id;

-- name: put_treatment
-- Rows that stand alone are written here, those inside a visit by the visits slice; a check keeps them apart.
insert into treatment (business_id, id, version, property_id, method, product, registration, amount, unit, applied_at, applied_by, told_by, feature_id, received_at)
select :business_id, r.id, r.version, r.property_id, r.method, r.product, r.registration, r.amount, r.unit, r.applied_at, r.applied_by, r.told_by, r.feature_id, r.received_at
from jsonb_populate_record(null::treatment, :row) r
on conflict (business_id, id) do update
set version = excluded.version, property_id = excluded.property_id, method = excluded.method,
    product = excluded.product, registration = excluded.registration, amount = excluded.amount,
    unit = excluded.unit, applied_at = excluded.applied_at, applied_by = excluded.applied_by,
    told_by = excluded.told_by, feature_id = excluded.feature_id, received_at = excluded.received_at;

-- name: list_treatments
select id, coalesce(version, 0) as version, property_id, visit_id, method, product, registration, amount::text as amount, unit, applied_at, applied_by, told_by, feature_id, received_at from treatment
where business_id = :business_id and id > :after_id::uuid
  and (:property_id::uuid is null or property_id = :property_id)
order by id limit :most;

-- name: delete_treatment
delete from treatment where business_id = :business_id and id = :id;
