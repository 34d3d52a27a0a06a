-- name: read_stand
select r.visit_id, r.property_id, r.withdrawn,
       (select max(n.version) from service_record n
        where n.business_id = :business_id and n.number = r.number) as latest_version,
       b.invoice_ref, b.billed_on, b.received_at
from service_record r
left join billed b on b.business_id = :business_id and b.number = r.number and b.version = r.version
where r.business_id = :business_id and r.number = :number and r.version = :version;

-- name: insert_billed
insert into billed (business_id, number, version, invoice_ref, billed_on, received_at, key_id)
values (:business_id, :number, :version, :invoice_ref, :billed_on, :now, :key_id);
