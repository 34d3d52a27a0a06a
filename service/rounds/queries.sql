-- name: list_zones
select distinct p.zone from property p where p.business_id = :business_id order by p.zone;

-- name: list_places
-- Properties where something is due by the end of the day in their zone, by their earliest due instant. The page is
-- chosen first, so that signs are looked for at its properties alone.
with ending as (
    select u.zone, u.ends_at from unnest(:zones::text[], :ends::timestamptz[]) as u (zone, ends_at)
), due as (
    select d.property_id, min(d.due_at) as earliest_due_at
    from deadline d
    join property p on p.business_id = :business_id and p.id = d.property_id
    join ending e on e.zone = p.zone
    where d.business_id = :business_id and d.state = 'open' and d.due_at <= e.ends_at
    group by d.property_id
), chosen as materialized (
    select u.property_id, u.earliest_due_at from due u
    where (u.earliest_due_at, u.property_id) > (:after_due_at::timestamptz, :after_property_id::uuid)
    order by u.earliest_due_at, u.property_id limit :most
)
select p.id as property_id, p.name, p.zone, p.address, p.locality, p.access_notes, p.position, p.hazards, exists (
        select from sign g
        where g.business_id = :business_id and g.property_id = p.id and g.kind = 'undermined_paving'
          and not exists (
              select from repair r where r.business_id = :business_id and r.sign_id = g.id and r.how = 'levelled'
          )
    ) as undermined_paving, c.earliest_due_at
from chosen c
join property p on p.business_id = :business_id and p.id = c.property_id
order by c.earliest_due_at, p.id;

-- name: list_sets
-- Sets that may stand at these properties, each with the look that it is owed; one whose placing is awaited only
-- where a look is owed.
select d.set_id as id, d.property_id, s.mechanism, coalesce(s.target, q.target) as target, s.position, s.depth_mm,
    s.foot_traffic, s.cover_on_turf, d.state, c.id as deadline_id, c.due_at, c.why ->> 'sentence' as why
from set_state d
left join trap_set s on s.business_id = :business_id and s.id = d.set_id
left join visit_job j on j.business_id = :business_id and j.visit_id = s.visit_id
left join job q on q.business_id = :business_id and q.id = j.job_id
left join deadline c on c.business_id = :business_id and c.subject_id = d.set_id and c.kind = 'check'
    and c.state = 'open'
where d.business_id = :business_id and d.property_id = any (:property_ids::uuid[])
  and (d.state = any (:states::text[]) or (d.state = 'awaited' and c.id is not null))
order by c.due_at nulls last, d.set_id;

-- name: list_deadlines
-- What else is open at these properties.
select d.id, d.kind, case when d.kind in ('set_search', 'lawn_cover') then d.subject_id end as set_id,
    case when d.kind in ('run_look', 'lawn', 'lawn_followup') then d.subject_id end as sign_id, d.property_id,
    d.due_at, d.why ->> 'sentence' as why
from deadline d
where d.business_id = :business_id and d.property_id = any (:property_ids::uuid[]) and d.state = 'open'
  and d.kind <> 'check'
order by d.due_at, d.id;
