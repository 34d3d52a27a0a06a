-- name: select_versions
-- By their place in the log, each with whether the claim holds. `latest`: of each record only the last version as of a
-- place, so that pages read later fit those read before.
select r.sequence, case :claim::text when 'by_us' then r.pesticide_free_by_us
                                     when 'known' then r.pesticide_known_at_property else true end as holds
from service_record r
where r.business_id = :business_id and r.sequence > :after and r.sequence <= :as_of
  and (not :latest or not exists (
      select from service_record n where n.business_id = :business_id and n.number = r.number
      and n.version > r.version and n.sequence <= :as_of))
  and r.service_on >= :since and r.service_on < :until
  and (:property_id::uuid is null or r.property_id = :property_id)
  and (:customer_id::uuid is null or r.customer_id = :customer_id)
order by r.sequence
limit :most;

-- name: read_lines
-- Records as text that goes out as it is, parted by line feeds, which stand in no canonical JSON.
select convert_to(string_agg(signed_line(r.bytes, r.sha256, r.signature), e'\n' order by r.sequence) || e'\n', 'UTF8')
from service_record r
where r.business_id = :business_id and r.sequence = any (:sequences::bigint[]);

-- name: read_rows
-- The same as lines of CSV (RFC 4180). Machine columns never need quotes; texts come last, always quoted, and unless
-- `raw` with an apostrophe before what a spreadsheet would take for a formula.
select convert_to(string_agg(
    array_to_string(array[
        r.number, r.version::text, r.service_on::text, r.c->>'arrived_at', r.c->>'ended_at', r.issued_at,
        r.visit_id::text, r.property_id::text, r.customer_id::text, r.c->>'job_id', r.c->>'worker_id',
        r.withdrawn::text, r.pesticide_free_by_us::text, r.pesticide_known_at_property::text,
        jsonb_array_length(r.c->'pesticide_known_at_property'->'visit_ids')::text,
        r.c->'pesticide_known_at_property'->>'visits_stating_none',
        (select count(*) from jsonb_array_elements(r.c->'sets') s where s->'done' @> '["placed"]')::text,
        (select count(*) from jsonb_array_elements(r.c->'sets') s where s->'done' @> '["pulled"]')::text,
        (select count(*) from jsonb_array_elements(r.c->'sets') s
         where s->>'state' in ('standing', 'made_safe', 'missing'))::text,
        jsonb_array_length(r.c->'checks')::text,
        (select coalesce(sum((a->>'count')::int), 0) from jsonb_array_elements(r.c->'catches') a)::text,
        (select coalesce(sum((a->>'count')::int), 0) from jsonb_array_elements(r.c->'other_animals') a)::text,
        r.c->>'mounds_cleared', r.c->>'trap_nights', encode(r.sha256, 'hex')
    ], ',', '') || (
        select string_agg(',"' || case
            when not :raw and u.text ~ '^[[:space:]\u00a0\u3000\ufeff]*[=+\-@＝＋－＠]|^[\t\r\n]' then ''''
            else '' end || replace(coalesce(u.text, ''), '"', '""') || '"', '' order by u.place)
        from unnest(array[
            r.c->>'zone', r.refs->>'property', r.refs->>'customer', r.c->>'outcome', r.c->>'target',
            (select string_agg(m->>'method', '; ' order by m->>'method')
             from jsonb_array_elements(r.c->'methods') m),
            (select string_agg(concat_ws(' ', x->>'method', x->>'product', x->>'registration'), '; ')
             from jsonb_array_elements(r.c->'treatments') x),
            r.c->>'statement'
        ]) with ordinality u (text, place)
    ), e'\r\n' order by r.sequence) || e'\r\n', 'UTF8')
from (
    select q.sequence, q.number, q.version, q.service_on, q.visit_id, q.property_id, q.customer_id, q.withdrawn,
           q.pesticide_free_by_us, q.pesticide_known_at_property, q.sha256, d.issued_at, d.c, d.refs
    from service_record q
    -- "offset 0" keeps the planner from reading the text anew for every column
    cross join lateral (select q.bytes::jsonb as record offset 0) w
    cross join lateral (select w.record->>'issued_at' as issued_at, w.record->'content' as c,
                               w.record->'refs' as refs offset 0) d
    where q.business_id = :business_id and q.sequence = any (:sequences::bigint[])
) r;

-- name: list_excluded
-- What a claim leaves out, with the record's own words for why.
select r.number, r.version, r.bytes::jsonb #>> '{content,statement}' as why
from service_record r
where r.business_id = :business_id and r.sequence = any (:sequences::bigint[])
order by r.sequence;
