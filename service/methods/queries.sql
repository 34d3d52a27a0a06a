-- name: read_method
select id, version, name, method_class, ground, received_at from method
where business_id = :business_id and id = :id;

-- name: put_method
insert into method (business_id, id, version, name, method_class, ground, received_at)
select :business_id, r.id, r.version, r.name, r.method_class, r.ground, r.received_at
from jsonb_populate_record(null::method, :row) r
on conflict (business_id, id) do update
set version = excluded.version, name = excluded.name, method_class = excluded.method_class,
    ground = excluded.ground, received_at = excluded.received_at;

-- name: list_methods
select id, version, name, method_class, ground, received_at from method
where business_id = :business_id and id > :after_id::uuid
order by id limit :most;

-- name: list_all_methods
select id, version, name, method_class, ground, received_at from method
where business_id = :business_id
order by id;

-- name: delete_method
delete from method where business_id = :business_id and id = :id;

-- name: list_methods_written
-- How people wrote methods: of treatments, of what was caught without a check, and seed that was treated.
select x.method from treatment x where x.business_id = :business_id
union
select c.method from catch c where c.business_id = :business_id and c.method is not null
union
select 'treated_seed' from repair r where r.business_id = :business_id and r.seed_treated;

-- name: list_properties_with
-- Those at which one of these methods, as they were written, was used.
select x.property_id from treatment x where x.business_id = :business_id and x.method = any (:written::text[])
union
select c.property_id from catch c where c.business_id = :business_id and c.method = any (:written::text[])
union
select r.property_id from repair r
where r.business_id = :business_id and r.seed_treated and 'treated_seed' = any (:written::text[])
order by 1;
