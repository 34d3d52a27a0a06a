-- name: facts_of_sets
-- All that is stated of each set and its stored state, as one row. A catch is found through its visit: there is
-- no index on check_id alone.
select u.set_id,
    (
        select to_jsonb(f) from (
            select s.visit_id, s.property_id, s.placed_at, s.mechanism, s.moved_from_set_id, s.cover,
                s.cover_length_mm, s.cover_width_mm, coalesce(s.cover_on_turf, false) as cover_on_turf,
                jsonb_path_query_array(s.traps, '$[*].no') as trap_nos, coalesce(s.target, q.target) as target,
                q.permit_id is not null as under_permit, v.worker_id || v.with_worker_ids as worker_ids
            from trap_set s
            join visit v on v.business_id = :business_id and v.id = s.visit_id
            left join visit_job j on j.business_id = :business_id and j.visit_id = s.visit_id
            left join job q on q.business_id = :business_id and q.id = j.job_id
            where s.business_id = :business_id and s.id = u.set_id
        ) f
    ) as placing,
    (
        select coalesce(jsonb_agg(f), '[]') from (
            select c.id, c.visit_id, c.property_id, c.checked_at, c.checked_by, c.finding, c.action, c.traps,
                c.opening_closed, c.cover,
                array(
                    select k.trap_no from catch k
                    where k.business_id = :business_id and k.visit_id = c.visit_id and k.check_id = c.id
                    order by k.id
                ) as caught_in, v.worker_id || v.with_worker_ids as worker_ids
            from trap_check c
            join visit v on v.business_id = :business_id and v.id = c.visit_id
            where c.business_id = :business_id and c.set_id = u.set_id
        ) f
    ) as checks,
    (
        select coalesce(jsonb_agg(f), '[]') from (
            select 'set' as noun, s.id as fact_id, s.visit_id, s.property_id, s.placed_at as at from trap_set s
            where s.business_id = :business_id and s.moved_from_set_id = u.set_id
            union all
            select 'repair', r.id, r.visit_id, r.property_id, r.repaired_at from repair r
            where r.business_id = :business_id and r.set_id = u.set_id
        ) f
    ) as mentions,
    (
        select to_jsonb(f) from (
            select d.state, d.placed_at, d.ended_at from set_state d
            where d.business_id = :business_id and d.set_id = u.set_id
        ) f
    ) as known,
    exists (select from lawn_patch l where l.business_id = :business_id and l.set_id = u.set_id) as has_patches
from unnest(:set_ids::uuid[]) as u (set_id);

-- name: replace_states
-- The states of these sets become exactly the given ones.
with given as (
    select g.* from jsonb_to_recordset(:states::jsonb) as g (
        set_id uuid, property_id uuid, state text, fishing boolean, placed_at timestamptz, ended_at timestamptz,
        last_looked_at timestamptz, last_finding text, moved_to_set_id uuid, looks int, catches int,
        trap_half_nights int, opening_closed_at timestamptz
    )
), gone as (
    delete from set_state d
    where d.business_id = :business_id and d.set_id = any(:set_ids::uuid[])
      and not exists (select from given g where g.set_id = d.set_id)
)
insert into set_state (
    business_id, set_id, property_id, state, fishing, placed_at, ended_at, last_looked_at, last_finding,
    moved_to_set_id, looks, catches, trap_half_nights, opening_closed_at
)
select :business_id, g.set_id, g.property_id, g.state, g.fishing, g.placed_at, g.ended_at, g.last_looked_at,
    g.last_finding, g.moved_to_set_id, g.looks, g.catches, g.trap_half_nights,
    g.opening_closed_at
from given g
on conflict (business_id, set_id) do update
set property_id = excluded.property_id, state = excluded.state, fishing = excluded.fishing,
    placed_at = excluded.placed_at, ended_at = excluded.ended_at, last_looked_at = excluded.last_looked_at,
    last_finding = excluded.last_finding, moved_to_set_id = excluded.moved_to_set_id, looks = excluded.looks,
    catches = excluded.catches, trap_half_nights = excluded.trap_half_nights,
    opening_closed_at = excluded.opening_closed_at;

-- name: read_set
select d.set_id as id, d.property_id, j.job_id, s.visit_id, '"' || v.version || '"' as visit_etag, s.sign_id,
    s.moved_from_set_id, d.placed_at, s.target, s.position, s.mechanism, s.traps, s.depth_mm, s.light_kept_out,
    s.trigger_travel_mm, s.flagged, s.foot_traffic, s.opening_length_mm, s.opening_width_mm, s.opening_on_turf,
    d.opening_closed_at, s.cover, s.cover_length_mm, s.cover_width_mm, s.cover_on_turf,
    s.photo_ids, d.state, d.fishing, d.ended_at, d.last_looked_at, d.last_finding, d.moved_to_set_id, d.looks,
    d.catches, round(d.trap_half_nights / 2.0, 1) as trap_nights,
    p.hazards, q.target as job_target, coalesce(g.kind = 'undermined_paving', false) as undermined_paving
from set_state d
join property p on p.business_id = :business_id and p.id = d.property_id
left join trap_set s on s.business_id = :business_id and s.id = d.set_id
left join visit v on v.business_id = :business_id and v.id = s.visit_id
left join visit_job j on j.business_id = :business_id and j.visit_id = s.visit_id
left join job q on q.business_id = :business_id and q.id = j.job_id
left join sign g on g.business_id = :business_id and g.id = s.sign_id
where d.business_id = :business_id and d.set_id = :id;

-- name: list_sets
-- The page is found in set_state alone and filled up afterwards, so that no join is made for rows beyond it.
-- A set whose placing is awaited has no local date, so it is in no list of one; a job's sets are looked for at
-- the job's property; the day before `since` and the one after `until` leave out most before zones are asked.
with found as materialized (
    select d.* from set_state d
    where d.business_id = :business_id and d.set_id > :after_id::uuid
      and (:property_id::uuid is null or d.property_id = :property_id)
      and (:state::text is null or d.state = :state)
      and (:since::date is null or d.placed_at >= :since::date - 1 and d.placed_at >= (
            select :since::date::timestamp at time zone p.zone from property p
            where p.business_id = :business_id and p.id = d.property_id))
      and (:until::date is null or d.placed_at < :until::date + 1 and d.placed_at < (
            select :until::date::timestamp at time zone p.zone from property p
            where p.business_id = :business_id and p.id = d.property_id))
      and (:mark::text is null or d.set_id in (
            select s.id from trap_set s where s.business_id = :business_id
            and s.traps @> jsonb_build_array(jsonb_build_object('mark', :mark::text))))
      and (:job_id::uuid is null or d.property_id = (
            select q.property_id from job q where q.business_id = :business_id and q.id = :job_id
        ) and exists (
            select from trap_set s join visit_job j on j.business_id = :business_id and j.visit_id = s.visit_id
            where s.business_id = :business_id and s.id = d.set_id and j.job_id = :job_id))
    order by d.set_id limit :most
)
select d.set_id as id, d.property_id, j.job_id, s.visit_id, '"' || v.version || '"' as visit_etag, s.sign_id,
    s.moved_from_set_id, d.placed_at, s.target, s.position, s.mechanism, s.traps, s.depth_mm, s.light_kept_out,
    s.trigger_travel_mm, s.flagged, s.foot_traffic, s.opening_length_mm, s.opening_width_mm, s.opening_on_turf,
    d.opening_closed_at, s.cover, s.cover_length_mm, s.cover_width_mm, s.cover_on_turf,
    s.photo_ids, d.state, d.fishing, d.ended_at, d.last_looked_at, d.last_finding, d.moved_to_set_id, d.looks,
    d.catches, round(d.trap_half_nights / 2.0, 1) as trap_nights,
    p.hazards, q.target as job_target, coalesce(g.kind = 'undermined_paving', false) as undermined_paving
from found d
join property p on p.business_id = :business_id and p.id = d.property_id
left join trap_set s on s.business_id = :business_id and s.id = d.set_id
left join visit v on v.business_id = :business_id and v.id = s.visit_id
left join visit_job j on j.business_id = :business_id and j.visit_id = s.visit_id
left join job q on q.business_id = :business_id and q.id = j.job_id
left join sign g on g.business_id = :business_id and g.id = s.sign_id
order by d.set_id;

-- name: list_traps
-- Of each marked trap the set it was placed in last.
with latest as (
    select distinct on (m.mark) m.mark, m.no, m.direction_deg, s.id, s.mechanism, s.position, s.placed_at
    from trap_set s
    cross join lateral jsonb_to_recordset(s.traps) as m (no int, direction_deg int, mark text)
    where s.business_id = :business_id and m.mark > :after_mark and (:mark::text is null or m.mark = :mark)
    order by m.mark, s.placed_at desc, s.id desc
)
select l.mark, l.no, l.direction_deg, l.mechanism, l.id as set_id, d.property_id, l.position, l.placed_at, d.state,
    d.fishing, d.ended_at, d.last_looked_at
from latest l
join set_state d on d.business_id = :business_id and d.set_id = l.id
where (:property_id::uuid is null or d.property_id = :property_id) and (:state::text is null or d.state = :state)
order by l.mark limit :most;
