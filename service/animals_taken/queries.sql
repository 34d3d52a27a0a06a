-- name: list_zones
select distinct p.zone from property p where p.business_id = :business_id order by p.zone;

-- name: list_rows
-- Every catch of the asked dates once, by its own instant in its property's zone; catches that are alike in one row.
with m as (
    select p.id as property_id, p.region, p.county, z.from_at, z.until_at
    from property p
    join unnest(:zones::text[], :froms::timestamptz[], :untils::timestamptz[]) z (zone, from_at, until_at)
        on z.zone = p.zone
    where p.business_id = :business_id
      and (:region::text is null or p.region = :region or starts_with(p.region, :region || '-'))
)
select c.species, coalesce(c.sex, 'unknown') as sex, m.region, m.county,
       coalesce(s.mechanism, c.method, 'unknown') as mechanism, c.fate,
       array_agg(c.id order by c.caught_at, c.id) as catch_ids
from catch c
join m on m.property_id = c.property_id and c.caught_at >= m.from_at and c.caught_at < m.until_at
left join trap_set s on s.business_id = :business_id and s.id = c.set_id
where c.business_id = :business_id
  and (:permit_id::uuid is null or exists (
        select from visit_job k
        join job j on j.business_id = :business_id and j.id = k.job_id and j.property_id = c.property_id
        where k.business_id = :business_id and k.visit_id = c.visit_id and j.permit_id = :permit_id))
group by c.species, coalesce(c.sex, 'unknown'), m.region, m.county, coalesce(s.mechanism, c.method, 'unknown'), c.fate;
