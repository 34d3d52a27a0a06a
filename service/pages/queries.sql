-- name: list_versions
select r.version, r.issued_at, r.service_on, r.visit_id, to_char(r.month_on, 'YYYY-MM') as month, r.withdrawn, r.pesticide_free_by_us,
       r.pesticide_known_at_property, encode(r.sha256, 'hex') as sha256,
       case when b.invoice_ref is not null then jsonb_build_object(
           'invoice_ref', b.invoice_ref, 'billed_on', b.billed_on, 'received_at', b.received_at) end as billed
from service_record r
left join billed b on b.business_id = :business_id and b.number = r.number and b.version = r.version
where r.business_id = :business_id and r.number = :number
order by r.version;

-- name: read_version
-- A version as it goes out, with the persons beside it, whose record it is, and what stands in its place since.
select signed_line(r.bytes, r.sha256, r.signature) as line, encode(r.sha256, 'hex') as sha256, r.party, r.erased, b.name as business, b.zone,
       (select r.number || '.' || max(n.version) from service_record n
        where n.business_id = :business_id and n.number = r.number and n.version > r.version) as newer
from service_record r
join business b on b.business_id = :business_id
where r.business_id = :business_id and r.number = :number and r.version = :version;
