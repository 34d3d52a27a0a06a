-- name: facts_of_signs
-- All that is stated of each sign, as one row; sets that name a sign matter only while it is awaited.
select u.sign_id,
    (
        select to_jsonb(f) from (
            select s.id, s.visit_id, s.property_id, s.seen_at as at, s.absent_since, s.count,
                coalesce(s.geometry, g.geometry) as geometry, s.feature_id, s.on_turf, s.length_mm, s.width_mm
            from sign s left join feature g on g.business_id = :business_id and g.id = s.feature_id
            where s.business_id = :business_id and s.id = u.sign_id
        ) f
    ) as sign,
    (
        select coalesce(jsonb_agg(f), '[]') from (
            select c.id, c.visit_id, c.property_id, c.tamped_at as at from tamping c
            where c.business_id = :business_id and c.sign_id = u.sign_id
        ) f
    ) as tampings,
    (
        select coalesce(jsonb_agg(f), '[]') from (
            select c.id, c.visit_id, c.property_id, c.looked_at as at, c.raised_again, c.fresh_soil, c.turf
            from look c where c.business_id = :business_id and c.sign_id = u.sign_id
        ) f
    ) as looks,
    (
        select coalesce(jsonb_agg(f), '[]') from (
            select c.id, c.visit_id, c.property_id, c.cleared_at as at, c.count from clearing c
            where c.business_id = :business_id and c.sign_id = u.sign_id
        ) f
    ) as clearings,
    (
        select coalesce(jsonb_agg(f), '[]') from (
            select 'set' as noun, c.id, c.visit_id, c.property_id, c.placed_at as at from trap_set c
            where c.business_id = :business_id and c.sign_id = u.sign_id
            union all
            select 'repair', c.id, c.visit_id, c.property_id, c.repaired_at from repair c
            where c.business_id = :business_id and c.sign_id = u.sign_id
        ) f
    ) as mentions
from unnest(:sign_ids::uuid[]) as u (sign_id);

-- name: list_bounds
-- Surveys with nothing fresh and mowings at each property, back from its last start of a lawn clock to the last
-- one before its first start that speaks for the whole property: of those before, none can be the latest.
with start as (
    select u.property_id, min(u.at) as first_at, max(u.at) as last_at
    from unnest(:property_ids::uuid[], :starts::timestamptz[]) as u (property_id, at) group by u.property_id
), span as (
    select s.property_id, s.last_at, coalesce(greatest(
        (
            select max(y.surveyed_at) from survey y
            where y.business_id = :business_id and y.property_id = s.property_id and y.surveyed_at < s.first_at
              and y.fresh_signs = 0 and y.feature_id is null and y.area is null
        ),
        (
            select max(m.at) from upkeep m
            where m.business_id = :business_id and m.property_id = s.property_id and m.at < s.first_at
              and m.kind = 'mown' and m.feature_id is null
        )
    ), '-infinity') as since_at
    from start s
)
select y.id, 'survey' as kind, y.property_id, y.surveyed_at as at, y.feature_id,
    coalesce(y.area, g.geometry) as geometry
from span s
join survey y on y.business_id = :business_id and y.property_id = s.property_id
left join feature g on g.business_id = :business_id and g.id = y.feature_id
where y.surveyed_at >= s.since_at and y.surveyed_at < s.last_at and y.fresh_signs = 0
union all
select m.id, 'mowing', m.property_id, m.at, m.feature_id, g.geometry
from span s
join upkeep m on m.business_id = :business_id and m.property_id = s.property_id
left join feature g on g.business_id = :business_id and g.id = m.feature_id
where m.at >= s.since_at and m.at < s.last_at and m.kind = 'mown';

-- name: replace_states
-- The states of these signs become exactly the given ones.
with given as (
    select g.* from jsonb_to_recordset(:states::jsonb) as g (
        sign_id uuid, property_id uuid, state text, in_use boolean, cleared_count int, cleared_at timestamptz, turf text
    )
), gone as (
    delete from sign_state d
    where d.business_id = :business_id and d.sign_id = any(:sign_ids::uuid[])
      and not exists (select from given g where g.sign_id = d.sign_id)
)
insert into sign_state (business_id, sign_id, property_id, state, in_use, cleared_count, cleared_at, turf)
select :business_id, g.sign_id, g.property_id, g.state, g.in_use, g.cleared_count, g.cleared_at, g.turf from given g
on conflict (business_id, sign_id) do update
set property_id = excluded.property_id, state = excluded.state, in_use = excluded.in_use,
    cleared_count = excluded.cleared_count, cleared_at = excluded.cleared_at, turf = excluded.turf;

-- name: list_touched_by_bounds
-- Signs on turf whose lawn clock started after an instant, by the sign or by a look that found fresh soil.
select s.id from sign s
where s.business_id = :business_id and s.property_id = :property_id and s.on_turf and s.seen_at > :since
union
select s.id from sign s
join look c on c.business_id = :business_id and c.sign_id = s.id and c.fresh_soil and c.looked_at > :since
where s.business_id = :business_id and s.property_id = :property_id and s.on_turf
order by id;

-- name: list_signs
-- In order of id: an amendment that moves a sign in time hides no other from whoever is turning pages.
-- The page is chosen first, so that jobs are looked up for its rows alone.
with chosen as (
    select d.sign_id from sign_state d
    join property p on p.business_id = :business_id and p.id = d.property_id
    left join sign s on s.business_id = :business_id and s.id = d.sign_id
    where d.business_id = :business_id and d.sign_id > :after_id::uuid
      and (:property_id::uuid is null or d.property_id = :property_id)
      and (:state::text is null or d.state = :state)
      and (:since::date is null or s.seen_at >= :since::date::timestamp at time zone p.zone)
      and (:until::date is null or s.seen_at < :until::date::timestamp at time zone p.zone)
      and (:job_id::uuid is null or exists (
          select from visit_job j
          where j.business_id = :business_id and j.visit_id = s.visit_id and j.job_id = :job_id
      ))
    order by d.sign_id limit :most
)
select d.sign_id as id, d.property_id, j.job_id, s.visit_id, '"' || v.version || '"' as visit_etag, d.state, d.in_use,
    d.cleared_count, d.cleared_at, d.turf, s.kind, s.seen_at, s.absent_since, s.told_by, s.count, s.freshness,
    s.geometry, s.feature_id, s.on_turf, s.length_mm, s.width_mm, s.height_mm, s.shape, s.plug, s.soil,
    s.hole_width_mm, s.seen_by_day, coalesce(s.photo_ids, '{}') as photo_ids
from chosen c
join sign_state d on d.business_id = :business_id and d.sign_id = c.sign_id
left join sign s on s.business_id = :business_id and s.id = d.sign_id
left join visit v on v.business_id = :business_id and v.id = s.visit_id
left join visit_job j on j.business_id = :business_id and j.visit_id = s.visit_id
order by d.sign_id;

-- name: read_sign
select d.sign_id as id, d.property_id, j.job_id, s.visit_id, '"' || v.version || '"' as visit_etag, d.state, d.in_use,
    d.cleared_count, d.cleared_at, d.turf, s.kind, s.seen_at, s.absent_since, s.told_by, s.count, s.freshness,
    s.geometry, s.feature_id, s.on_turf, s.length_mm, s.width_mm, s.height_mm, s.shape, s.plug, s.soil,
    s.hole_width_mm, s.seen_by_day, coalesce(s.photo_ids, '{}') as photo_ids
from sign_state d
left join sign s on s.business_id = :business_id and s.id = d.sign_id
left join visit v on v.business_id = :business_id and v.id = s.visit_id
left join visit_job j on j.business_id = :business_id and j.visit_id = s.visit_id
where d.business_id = :business_id and d.sign_id = :id;
