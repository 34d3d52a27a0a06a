-- name: replace_patches
-- The patches of these signs and of these sets become exactly the given ones.
with given as (
    select g.* from jsonb_to_recordset(:patches::jsonb) as g (
        id uuid, sign_id uuid, set_id uuid, starting_fact_id uuid, property_id uuid, started_at timestamptz,
        earliest_at timestamptz, earliest_from text, due_at timestamptz, cleared_at timestamptz, count int,
        cleared_count int, verdict text, turf text, outcome text, area_m2 numeric, repaired_at timestamptz
    )
), gone as (
    delete from lawn_patch d
    where d.business_id = :business_id
      and (d.sign_id = any(:sign_ids::uuid[]) or d.set_id = any(:set_ids::uuid[]))
      and not exists (select from given g where g.id = d.id)
)
insert into lawn_patch (
    business_id, id, sign_id, set_id, starting_fact_id, property_id, started_at, earliest_at, earliest_from, due_at,
    cleared_at, count, cleared_count, verdict, turf, outcome, area_m2, repaired_at
)
select :business_id, g.id, g.sign_id, g.set_id, g.starting_fact_id, g.property_id, g.started_at, g.earliest_at,
    g.earliest_from, g.due_at, g.cleared_at, g.count, g.cleared_count, g.verdict, g.turf, g.outcome, g.area_m2,
    g.repaired_at
from given g
on conflict (business_id, id) do update
set property_id = excluded.property_id, started_at = excluded.started_at, earliest_at = excluded.earliest_at,
    earliest_from = excluded.earliest_from, due_at = excluded.due_at, cleared_at = excluded.cleared_at,
    count = excluded.count, cleared_count = excluded.cleared_count, verdict = excluded.verdict, turf = excluded.turf,
    outcome = excluded.outcome, area_m2 = excluded.area_m2, repaired_at = excluded.repaired_at;

-- name: list_lawn_patches
-- In order of id: an amendment that moves a patch in time hides no other from whoever is turning pages. The page is
-- chosen first, so that jobs are looked up for its rows alone. The visit is the one that states the start: the sign
-- or the look at fresh soil, the set or the check that left a cover.
with chosen as (
    select d.id, coalesce(s.visit_id, c.visit_id, q.visit_id, k.visit_id) as visit_id from lawn_patch d
    join property p on p.business_id = :business_id and p.id = d.property_id
    left join sign s on s.business_id = :business_id and d.sign_id is not null and s.id = d.starting_fact_id
    left join look c on c.business_id = :business_id and d.sign_id is not null and c.id = d.starting_fact_id
    left join trap_set q on q.business_id = :business_id and d.set_id is not null and q.id = d.starting_fact_id
    left join trap_check k on k.business_id = :business_id and d.set_id is not null and k.id = d.starting_fact_id
    where d.business_id = :business_id and d.id > :after_id::uuid
      and (:property_id::uuid is null or d.property_id = :property_id)
      and (:verdict::text is null or d.verdict = :verdict)
      and (:since::date is null or d.started_at >= :since::date::timestamp at time zone p.zone)
      and (:until::date is null or d.started_at < :until::date::timestamp at time zone p.zone)
      and (:job_id::uuid is null or exists (
          select from visit_job j
          where j.business_id = :business_id
            and j.visit_id = coalesce(s.visit_id, c.visit_id, q.visit_id, k.visit_id) and j.job_id = :job_id
      ))
    order by d.id limit :most
)
select d.id, d.sign_id, g.kind as sign_kind, d.set_id, d.starting_fact_id, d.property_id, j.job_id, v.id as visit_id,
    '"' || v.version || '"' as visit_etag, d.started_at, d.earliest_at, d.earliest_from, d.due_at, d.cleared_at,
    d.count, d.cleared_count, d.verdict, d.turf, d.outcome, d.area_m2, d.repaired_at
from chosen c
join lawn_patch d on d.business_id = :business_id and d.id = c.id
left join sign g on g.business_id = :business_id and g.id = d.sign_id
join visit v on v.business_id = :business_id and v.id = c.visit_id
join visit_job j on j.business_id = :business_id and j.visit_id = c.visit_id
order by d.id;
