-- name: find_business
-- Spans businesses, as the migrator: a deadline's id alone is typed.
select business_id from deadline where id = :id;

-- name: read_entered
select d.kind, d.subject_id, d.starting_fact_id, d.property_id, d.started_at, d.due_at, d.state, d.met_at,
       d.met_by_fact_id, d.outcome, d.why, exists (
           select from work w
           where w.business_id = :business_id and (w.kind = 'property_anew' and w.subject_id = d.property_id
               -- a permit's stands there till its next period begins; taken up, it is tried again later
               or w.kind = 'permit_anew' and w.subject_id = d.subject_id and (w.run_at <= :now or w.attempt > 0))
       ) as is_being_worked_out_anew
from deadline d where d.business_id = :business_id and d.id = :id;

-- name: list_visits_about
-- Visits that stand and name a set or sign anywhere in their body, and all at the properties they name it from.
with naming as materialized (
    select v.property_id from visit v
    join visit_version k on k.business_id = :business_id and k.visit_id = v.id and k.version = v.version
    where v.business_id = :business_id and v.withdrawn_at is null and k.body like '%' || :subject_id::uuid || '%'
)
select v.id, k.body::jsonb as body from visit v
join visit_version k on k.business_id = :business_id and k.visit_id = v.id and k.version = v.version
where v.business_id = :business_id and v.withdrawn_at is null
  and (v.property_id in (select property_id from naming) or k.body like '%' || :subject_id::uuid || '%');

-- name: list_jobs
select id, property_id, target, permit_id, opened_at, closed_at from job where business_id = :business_id;

-- name: list_features
select id, geometry from feature where business_id = :business_id;

-- name: list_sites
-- The properties as stated, with the house's policies and packs, and upkeep stated without a visit.
select jsonb_build_object(
        'property_id', p.id, 'zone', p.zone, 'region', p.region, 'county', p.county, 'locality', p.locality,
        'position', p.position, 'house_policies', b.house_policies, 'packs', (
            select coalesce(jsonb_agg(to_jsonb(k) - 'business_id' order by k.id), '[]') from rule_pack k
            where k.business_id = :business_id and (p.region = k.region or p.region like k.region || '-%')
        )
    ) as place, (
        select coalesce(jsonb_agg(jsonb_build_object(
            'id', u.id, 'kind', u.kind, 'at', u.at, 'feature_id', u.feature_id)), '[]') from upkeep u
        where u.business_id = :business_id and u.property_id = p.id and u.visit_id is null
    ) as upkeep
from property p join business b on b.business_id = :business_id
where p.business_id = :business_id and p.id = any (:property_ids::uuid[]);
