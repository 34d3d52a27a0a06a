-- name: list_properties
select p.id, p.name, p.ref, p.zone from property p where p.business_id = :business_id;

-- name: list_figures
-- Every figure of the month at every property: a fact belongs to it by its own instant in its property's zone.
with m as (
    select p.id as property_id, z.from_at, z.until_at
    from property p
    join unnest(:zones::text[], :froms::timestamptz[], :untils::timestamptz[]) z (zone, from_at, until_at)
        on z.zone = p.zone
    where p.business_id = :business_id
)
select 'visits' as figure, v.property_id, null as kind, array_agg(v.id order by v.arrived_at, v.id) as ids,
       null as area_m2
from visit v join m on m.property_id = v.property_id and v.arrived_at >= m.from_at and v.arrived_at < m.until_at
where v.business_id = :business_id and v.withdrawn_at is null
group by v.property_id
union all
select 'no_access', v.property_id, null, array_agg(v.id order by v.arrived_at, v.id), null
from visit v join m on m.property_id = v.property_id and v.arrived_at >= m.from_at and v.arrived_at < m.until_at
where v.business_id = :business_id and v.withdrawn_at is null and v.outcome = 'no_access'
group by v.property_id
union all
select 'sets_placed', s.property_id, s.mechanism, array_agg(s.id order by s.placed_at, s.id), null
from trap_set s join m on m.property_id = s.property_id and s.placed_at >= m.from_at and s.placed_at < m.until_at
where s.business_id = :business_id
group by s.property_id, s.mechanism
union all
select 'sets_pulled', e.property_id, null, array_agg(e.set_id order by e.ended_at, e.set_id), null
from set_state e join m on m.property_id = e.property_id and e.ended_at >= m.from_at and e.ended_at < m.until_at
where e.business_id = :business_id and e.state = 'pulled'
group by e.property_id
union all
select 'looks', c.property_id, null, array_agg(c.id order by c.checked_at, c.id), null
from trap_check c
join m on m.property_id = c.property_id and c.checked_at >= m.from_at and c.checked_at < m.until_at
where c.business_id = :business_id and c.checked_by <> 'monitor'
group by c.property_id
union all
select 'missed_looks', d.property_id, null, array_agg(d.id order by d.due_at, d.id), null
from deadline d join m on m.property_id = d.property_id and d.due_at >= m.from_at and d.due_at < m.until_at
where d.business_id = :business_id and d.kind = 'check'
  and (d.state = 'late' or (d.state = 'open' and d.due_at <= :now))
group by d.property_id
union all
-- the target is the set's, else the job's; where neither is stated every animal is one
select case when a.target is null or a.species = a.target or starts_with(a.species, a.target || ' ')
            then 'catches' else 'other_animals' end as figure,
       a.property_id, a.species, array_agg(a.id order by a.caught_at, a.id), null
from (
    select c.id, c.property_id, c.species, c.caught_at, coalesce(s.target, j.target) as target
    from catch c
    join m on m.property_id = c.property_id and c.caught_at >= m.from_at and c.caught_at < m.until_at
    left join trap_set s on s.business_id = :business_id and s.id = c.set_id
    left join visit_job k on k.business_id = :business_id and k.visit_id = c.visit_id
    left join job j on j.business_id = :business_id and j.id = k.job_id and j.property_id = c.property_id
    where c.business_id = :business_id
) a
group by figure, a.property_id, a.species
union all
select 'clearings', c.property_id, c.cleared_by, array_agg(c.id order by c.cleared_at, c.id), null
from clearing c
join m on m.property_id = c.property_id and c.cleared_at >= m.from_at and c.cleared_at < m.until_at
where c.business_id = :business_id
group by c.property_id, c.cleared_by
union all
select case when l.set_id is null then 'lawn_patches' else 'covers' end as figure, l.property_id, l.verdict,
       array_agg(l.id order by l.started_at, l.id), sum(l.area_m2)::text
from lawn_patch l
join m on m.property_id = l.property_id and l.started_at >= m.from_at and l.started_at < m.until_at
where l.business_id = :business_id
group by figure, l.property_id, l.verdict
union all
select 'turf_' || l.outcome, l.property_id, coalesce(l.turf, 'not_looked_at'),
       array_agg(l.id order by l.started_at, l.id), sum(l.area_m2)::text
from lawn_patch l
join m on m.property_id = l.property_id and l.started_at >= m.from_at and l.started_at < m.until_at
where l.business_id = :business_id and l.outcome is not null
group by l.outcome, l.property_id, l.turf
union all
-- what our own digging opened in turf: an ellipse, in square metres
select 'turf_opened', s.property_id, null, array_agg(s.id order by s.placed_at, s.id),
       sum(round(3.14159265358979323846 / 4 * s.opening_length_mm * s.opening_width_mm / 1000000, 6))::text
from trap_set s join m on m.property_id = s.property_id and s.placed_at >= m.from_at and s.placed_at < m.until_at
where s.business_id = :business_id and s.opening_on_turf
group by s.property_id
union all
-- of those, what no look and no repair says is closed
select 'turf_opened_still', s.property_id, null, array_agg(s.id order by s.placed_at, s.id),
       sum(round(3.14159265358979323846 / 4 * s.opening_length_mm * s.opening_width_mm / 1000000, 6))::text
from trap_set s join m on m.property_id = s.property_id and s.placed_at >= m.from_at and s.placed_at < m.until_at
join set_state e on e.business_id = :business_id and e.set_id = s.id and e.opening_closed_at is null
where s.business_id = :business_id and s.opening_on_turf
group by s.property_id
union all
select 'repairs', r.property_id, r.how, array_agg(r.id order by r.repaired_at, r.id), sum(r.area_m2)::text
from repair r
join m on m.property_id = r.property_id and r.repaired_at >= m.from_at and r.repaired_at < m.until_at
where r.business_id = :business_id
group by r.property_id, r.how
union all
select 'treatments', r.property_id, r.method, array_agg(r.id order by r.applied_at, r.id), null
from treatment r
join m on m.property_id = r.property_id and r.applied_at >= m.from_at and r.applied_at < m.until_at
where r.business_id = :business_id
group by r.property_id, r.method
union all
select 'overdue_now', d.property_id, d.kind, array_agg(d.id order by d.due_at, d.id), null
from deadline d
where d.business_id = :business_id and d.state = 'open' and d.due_at <= :now and d.property_id is not null
group by d.property_id, d.kind;

-- name: list_records
-- Latest versions only.
select r.property_id, r.number, r.version, r.visit_id, r.withdrawn, r.pesticide_free_by_us,
       r.pesticide_known_at_property
from service_record r
where r.business_id = :business_id and r.service_on >= :first_on and r.service_on < :until_on
  and r.replaced_sequence is null;
