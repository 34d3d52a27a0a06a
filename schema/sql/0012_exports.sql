-- 0012: what a pull hands out is ready when it is asked for: a record's line of CSV, made once from its bytes.

-- Texts, each quoted (RFC 4180); where `guarded` an apostrophe stands before what a spreadsheet would take for a
-- formula, and before what begins with a tab or a line's end.
create function csv_texts(texts text[], guarded boolean) returns text
    language sql immutable parallel safe
begin atomic
    select string_agg(',"' || case
        when guarded and u.cell ~ '^[[:space:]\u00a0\u3000\ufeff]*[=+\-@＝＋－＠]|^[\t\r\n]' then ''''
        else '' end || replace(coalesce(u.cell, ''), '"', '""') || '"', '' order by u.place)
    from unnest(texts) with ordinality u (cell, place);
end;

create function csv_count(animals jsonb) returns text
    language sql immutable parallel safe strict
begin atomic
    select coalesce(sum((a->>'count')::int), 0)::text from jsonb_array_elements(animals) a;
end;

-- A version as a line of CSV without its end: as it is, and guarded where that is another. Columns are those of
-- exports/columns.py: first those for machines, which never need quotes, then texts. What it does not have is empty.
create function csv_lines(bytes text, sha256 bytea) returns text[]
    language sql immutable parallel safe
begin atomic
    select case when w.plain = w.guarded then array[l.numbers || w.plain]
           else array[l.numbers || w.plain, l.numbers || w.guarded] end
    from jsonb_to_record(bytes::jsonb) r (number text, version text, issued_at text, refs jsonb, content jsonb)
    cross join lateral jsonb_to_record(r.content) c (
        kind text, month text, service_on text, arrived_at text, ended_at text, visit_id text, property_id text,
        customer_id text, job_id text, worker_id text, pesticide_free_by_us jsonb, pesticide_known_at_property jsonb,
        sets jsonb, checks jsonb, catches jsonb, other_animals jsonb, mounds_cleared text, trap_nights text,
        repairs jsonb, turf_figures jsonb, zone text, outcome text, target text, methods jsonb, treatments jsonb,
        statement text)
    cross join lateral (select array_to_string(array[
        r.number, r.version, c.kind, c.month, c.service_on, c.arrived_at, c.ended_at, r.issued_at,
        c.visit_id, c.property_id, c.customer_id, c.job_id, c.worker_id, (c.kind = 'withdrawn')::text,
        coalesce(c.pesticide_free_by_us->>'free', 'false'),
        coalesce(c.pesticide_known_at_property->>'free', 'false'),
        jsonb_array_length(c.pesticide_known_at_property->'visit_ids')::text,
        c.pesticide_known_at_property->>'visits_stating_none',
        jsonb_array_length(jsonb_path_query_array(c.sets, '$[*] ? (@.done[*] == "placed")'))::text,
        jsonb_array_length(jsonb_path_query_array(c.sets, '$[*] ? (@.done[*] == "moved")'))::text,
        jsonb_array_length(jsonb_path_query_array(c.sets, '$[*] ? (@.done[*] == "made_safe")'))::text,
        jsonb_array_length(jsonb_path_query_array(c.sets, '$[*] ? (@.done[*] == "pulled")'))::text,
        jsonb_array_length(jsonb_path_query_array(c.sets,
            '$[*] ? (@.state == "standing" || @.state == "made_safe" || @.state == "missing")'))::text,
        jsonb_array_length(c.checks)::text, csv_count(c.catches), csv_count(c.other_animals), c.mounds_cleared,
        c.trap_nights, jsonb_array_length(c.repairs)::text, c.turf_figures #>> '{saved,area_m2}',
        c.turf_figures #>> '{lost,area_m2}', encode(sha256, 'hex')
    ], ',', '') as numbers offset 0) l
    cross join lateral (select array[
        c.zone, r.refs->>'property', r.refs->>'customer', c.outcome, c.target,
        (select string_agg(m->>'method', '; ' order by m->>'method') from jsonb_array_elements(c.methods) m),
        (select string_agg(concat_ws(' ', x->>'method', x->>'product', x->>'registration'), '; ')
         from jsonb_array_elements(c.treatments) x),
        c.statement
    ] as texts offset 0) d
    cross join lateral (select csv_texts(d.texts, false) as plain, csv_texts(d.texts, true) as guarded offset 0) w;
end;

-- A function of the bytes, kept beside them so that a pull parses nothing; it stays in the row where the bytes move
-- out of it.
alter table service_record
    add column csv text[] not null generated always as (csv_lines(bytes, sha256)) stored,
    alter column csv set storage main;

-- as before, but the long text is copied twice and not six times
create or replace function signed_line(bytes text, sha256 bytea, signature text) returns text
    language sql immutable parallel safe
    return '{"noun":"signed_service_record","record":' || bytes || (',"sha256":"' || encode(sha256, 'hex')
           || '","signature":' || coalesce('"' || signature || '"', 'null') || '}');
