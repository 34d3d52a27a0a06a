-- name: read_rule_pack
select id, version, name, region, sub_areas, places, except_areas, authority, citation, text_as_of, verified_on, reviewed_by, state,
       effective_from, effective_until, rules, received_at
from rule_pack
where business_id = :business_id and id = :id;

-- name: put_rule_pack
insert into rule_pack (business_id, id, version, name, region, sub_areas, places, except_areas, authority, citation, text_as_of,
                       verified_on, reviewed_by, state, effective_from, effective_until, rules, received_at)
select :business_id, r.id, r.version, r.name, r.region, r.sub_areas, r.places, r.except_areas, r.authority, r.citation, r.text_as_of,
       r.verified_on, r.reviewed_by, r.state, r.effective_from, r.effective_until, r.rules, r.received_at
from jsonb_populate_record(null::rule_pack, :row) r
on conflict (business_id, id) do update
set version = excluded.version, name = excluded.name, region = excluded.region, sub_areas = excluded.sub_areas,
    places = excluded.places, except_areas = excluded.except_areas, authority = excluded.authority, citation = excluded.citation,
    text_as_of = excluded.text_as_of, verified_on = excluded.verified_on, reviewed_by = excluded.reviewed_by,
    state = excluded.state, effective_from = excluded.effective_from, effective_until = excluded.effective_until,
    rules = excluded.rules, received_at = excluded.received_at;

-- name: list_rule_packs
-- With a region: those that hold in it, in a part of it, or in what it is a part of.
select id, version, name, region, sub_areas, places, except_areas, authority, citation, text_as_of, verified_on, reviewed_by, state,
       effective_from, effective_until, rules, received_at
from rule_pack
where business_id = :business_id and id > :after_id::uuid
  and (:region::text is null or region = :region
       or starts_with(region, :region || '-') or starts_with(:region, region || '-'))
order by id limit :most;

-- name: list_rule_packs_named
-- What a pack of that name must not overlap with: all of them but itself.
select id, version, name, region, sub_areas, places, except_areas, authority, citation, text_as_of, verified_on, reviewed_by, state,
       effective_from, effective_until, rules, received_at
from rule_pack
where business_id = :business_id and name = :name and id <> :id::uuid;

-- name: delete_rule_pack
delete from rule_pack where business_id = :business_id and id = :id;

-- name: note_rules
-- Spans businesses, as the migrator: of processes that start at once one changes the row, and the others wait and
-- find it changed. Null where nothing changed.
update installation set rules_digest = :digest where rules_digest is distinct from :digest
returning rules_digest;
