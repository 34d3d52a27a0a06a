-- name: read_customer
select id, version, name, ref, email, phone, addresses, received_at, erased from customer
where business_id = :business_id and id = :id;

-- name: put_customer
insert into customer (business_id, id, version, name, ref, email, phone, addresses, received_at)
select :business_id, r.id, r.version, r.name, r.ref, r.email, r.phone, r.addresses, r.received_at
from jsonb_populate_record(null::customer, :row) r
on conflict (business_id, id) do update
set version = excluded.version, name = excluded.name, ref = excluded.ref, email = excluded.email,
    phone = excluded.phone, addresses = excluded.addresses, received_at = excluded.received_at;

-- name: list_customers
select id, version, name, ref, email, phone, addresses, received_at, erased from customer
where business_id = :business_id and id > :after_id::uuid
order by id limit :most;
