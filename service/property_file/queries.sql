-- name: read_place
select p.name, p.ref, p.kind, p.zone, p.region, p.county, p.locality, p.address, b.name as business_name,
       b.zone as business_zone, (
           select coalesce(jsonb_agg(to_jsonb(k) - 'business_id' order by k.id), '[]') from rule_pack k
           where k.business_id = :business_id and (p.region = k.region or starts_with(p.region, k.region || '-'))
       ) as packs
from property p
join business b on b.business_id = :business_id
where p.business_id = :business_id and p.id = :property_id;

-- name: list_tenures
select h.id, h.customer_id, h.from_on, h.until_on, c.name as customer_name from tenure h
join customer c on c.business_id = :business_id and c.id = h.customer_id
where h.business_id = :business_id and h.property_id = :property_id
order by h.from_on, h.id;

-- name: list_versions
-- All of the property up to a place in the log; whether a later one, here or elsewhere, has replaced it by then. The
-- record of a month covers days before that of service.
select r.sequence, r.number, r.version, r.service_on, r.issued_at, r.customer_id, r.withdrawn,
       r.pesticide_free_by_us, r.pesticide_known_at_property, encode(r.sha256, 'hex') as sha256,
       coalesce((r.bytes::jsonb #>> '{content,first_on}')::date, r.service_on) as first_on,
       coalesce(r.replaced_sequence <= :as_of, false) as replaced
from service_record r
where r.business_id = :business_id and r.property_id = :property_id and r.sequence <= :as_of
  and r.service_on < :until_on
order by r.service_on, r.number, r.version;

-- name: read_contents
-- What was stated in these versions; `persons` only where the file is the customer's own.
select r.sequence, w.record->>'replaces' as replaces, w.record->'content' as content,
       w.record #> '{issuer,licences}' as licences, w.record #>> '{refs,property}' as property_ref,
       case when :persons then r.party end as party, case when :persons then r.erased end as erased
from service_record r
-- "offset 0" keeps the planner from reading the text anew for every column
cross join lateral (select r.bytes::jsonb as record offset 0) w
where r.business_id = :business_id and r.sequence = any (:sequences::bigint[]);

-- name: read_signed
-- Signed records as they go out, byte for byte.
select 'records/' || r.number || '.' || r.version || '.json' as path, signed_line(r.bytes, r.sha256, r.signature) as line
from service_record r
where r.business_id = :business_id and r.sequence = any (:sequences::bigint[])
order by r.sequence;
