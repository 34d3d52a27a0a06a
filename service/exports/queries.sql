-- name: select_versions
-- The next ones by their place in the log, parted by whether the claim holds. `latest`: of each record only the last
-- version as of a place, so that pages read later fit those read before.
select coalesce(array_agg(s.sequence) filter (where s.holds), '{}') as held,
       coalesce(array_agg(s.sequence) filter (where not s.holds), '{}') as left_out
from (
    select r.sequence, case :claim::text when 'by_us' then r.pesticide_free_by_us
                                         when 'known' then r.pesticide_known_at_property else true end as holds
    from service_record r
    where r.business_id = :business_id and r.sequence > :after and r.sequence <= :upto
      and (not :latest or r.replaced_sequence is null or r.replaced_sequence > :as_of)
      and r.service_on >= :since and r.service_on < :until
      and (:property_id::uuid is null or r.property_id = :property_id)
      and (:customer_id::uuid is null or r.customer_id = :customer_id)
    order by r.sequence
    limit :most
) s;

-- name: read_signed
-- The next ones whose claim holds, signed, as they go out. Each a row, and in pieces, the long one as it is kept: of texts
-- this long PostgreSQL would make one slower than whoever asked, and COPY looks at every character.
select r.sequence, convert_to(signed_head(), 'UTF8') as head, convert_to(r.bytes, 'UTF8') as body,
       convert_to(signed_tail(r.sha256, r.signature), 'UTF8') as tail
from service_record r
where r.business_id = :business_id and r.sequence > :after and r.sequence <= :upto
  and case :claim::text when 'by_us' then r.pesticide_free_by_us
                        when 'known' then r.pesticide_known_at_property else true end
  and (not :latest or r.replaced_sequence is null or r.replaced_sequence > :as_of)
  and r.service_on >= :since and r.service_on < :until
  and (:property_id::uuid is null or r.property_id = :property_id)
  and (:customer_id::uuid is null or r.customer_id = :customer_id)
order by r.sequence
limit :most;

-- name: read_rows
-- The same ones as lines of CSV (RFC 4180) in one text; lines this short are put together faster here.
select count(*)::int as count, coalesce(max(sequence), 0) as last,
       convert_to(coalesce(string_agg(line || e'\r\n', ''), ''), 'UTF8') as text
from (
    select r.sequence, case when :raw then r.csv[1] else r.csv[cardinality(r.csv)] end as line
    from service_record r
    where r.business_id = :business_id and r.sequence > :after and r.sequence <= :upto
      and case :claim::text when 'by_us' then r.pesticide_free_by_us
                            when 'known' then r.pesticide_known_at_property else true end
      and (not :latest or r.replaced_sequence is null or r.replaced_sequence > :as_of)
      and r.service_on >= :since and r.service_on < :until
      and (:property_id::uuid is null or r.property_id = :property_id)
      and (:customer_id::uuid is null or r.customer_id = :customer_id)
    order by r.sequence
    limit :most
) l;

-- name: list_excluded
-- What a claim leaves out, with the record's own words for why: that claim's, else its statement (a withdrawn record
-- makes no claim, and an old one gave none of its own).
select r.number, r.version,
       coalesce(w.content #>> array[case :claim::text when 'by_us' then 'pesticide_free_by_us'
                                                else 'pesticide_known_at_property' end, 'why'],
                w.content->>'statement') as why
from service_record r
cross join lateral (select r.bytes::jsonb->'content' as content offset 0) w
where r.business_id = :business_id and r.sequence = any (:sequences::bigint[])
order by r.sequence;
