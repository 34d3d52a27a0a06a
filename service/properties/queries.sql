-- name: read_property
select id, version, name, ref, kind, zone, region, county, locality, address, access_notes, boundary, position, hazards, received_at from property
where business_id = :business_id and id = :id;

-- name: put_property
insert into property (business_id, id, version, name, ref, kind, zone, region, county, locality, address, access_notes, boundary, position, hazards, received_at)
select :business_id, r.id, r.version, r.name, r.ref, r.kind, r.zone, r.region, r.county, r.locality, r.address, r.access_notes, r.boundary, r.position, r.hazards, r.received_at
from jsonb_populate_record(null::property, :row) r
on conflict (business_id, id) do update
set version = excluded.version, name = excluded.name, ref = excluded.ref,
    kind = excluded.kind, zone = excluded.zone, region = excluded.region,
    county = excluded.county, locality = excluded.locality, address = excluded.address, access_notes = excluded.access_notes,
    boundary = excluded.boundary, position = excluded.position, hazards = excluded.hazards,
    received_at = excluded.received_at;

-- name: list_properties
select id, version, name, ref, kind, zone, region, county, locality, address, access_notes, boundary, position, hazards, received_at from property
where business_id = :business_id and id > :after_id::uuid
order by id limit :most;

-- name: read_feature
select id, version, property_id, name, kind, geometry, received_at from feature
where business_id = :business_id and id = :id;

-- name: put_feature
insert into feature (business_id, id, version, property_id, name, kind, geometry, received_at)
select :business_id, r.id, r.version, r.property_id, r.name, r.kind, r.geometry, r.received_at
from jsonb_populate_record(null::feature, :row) r
on conflict (business_id, id) do update
set version = excluded.version, property_id = excluded.property_id, name = excluded.name,
    kind = excluded.kind, geometry = excluded.geometry, received_at = excluded.received_at;

-- name: list_features
select id, version, property_id, name, kind, geometry, received_at from feature
where business_id = :business_id and id > :after_id::uuid
  and (:property_id::uuid is null or property_id = :property_id)
order by id limit :most;

-- name: read_tenure
select id, version, property_id, customer_id, from_on, until_on, received_at from tenure
where business_id = :business_id and id = :id;

-- name: put_tenure
insert into tenure (business_id, id, version, property_id, customer_id, from_on, until_on, received_at)
select :business_id, r.id, r.version, r.property_id, r.customer_id, r.from_on, r.until_on, r.received_at
from jsonb_populate_record(null::tenure, :row) r
on conflict (business_id, id) do update
set version = excluded.version, property_id = excluded.property_id, customer_id = excluded.customer_id,
    from_on = excluded.from_on, until_on = excluded.until_on, received_at = excluded.received_at;

-- name: list_tenures
select id, version, property_id, customer_id, from_on, until_on, received_at from tenure
where business_id = :business_id and id > :after_id::uuid
  and (:property_id::uuid is null or property_id = :property_id)
order by id limit :most;
