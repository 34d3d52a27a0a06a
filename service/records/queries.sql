-- name: read_head
-- Hazards are those that were stated when the visit ended: what the office learns later changes no record of before.
select v.id, v.property_id, v.worker_id, v.with_worker_ids, v.arrived_at, v.ended_at, v.outcome, v.treatments_none,
       v.customer_note, v.withdrawn_at, p.zone, p.region, p.county, p.locality, p.position, (
           select coalesce(jsonb_agg(to_jsonb(k) - 'business_id' order by k.id), '[]') from rule_pack k
           where k.business_id = :business_id and (p.region = k.region or starts_with(p.region, k.region || '-'))
       ) as packs, (
           select coalesce(jsonb_agg(to_jsonb(w) - 'business_id' order by w.id), '[]') from method w
           where w.business_id = :business_id
       ) as methods, p.ref as property_ref, p.address, k.job_id, j.target,
       case when m.id is not null then jsonb_build_object('number', m.number, 'authority', m.authority) end as permit,
       b.zone as business_zone, b.licences, b.house_policies,
       exists (select from sign s where s.business_id = :business_id and s.visit_id = :visit_id
               and s.kind = 'undermined_paving') as paving_undermined,
       coalesce((select h.body->'hazards' from stated_version h
                 where h.business_id = :business_id and h.noun = 'property' and h.id = p.id
                   and (h.received_at <= v.ended_at or h.version = 1)
                 order by h.version desc limit 1), '[]') as hazards
from visit v
join property p on p.business_id = :business_id and p.id = v.property_id
join business b on b.business_id = :business_id
join visit_job k on k.business_id = :business_id and k.visit_id = v.id
left join job j on j.business_id = :business_id and j.id = k.job_id and j.property_id = v.property_id
left join permit m on m.business_id = :business_id and m.id = j.permit_id
where v.business_id = :business_id and v.id = :visit_id;

-- name: read_zone
select p.zone from property p where p.business_id = :business_id and p.id = :property_id;

-- name: read_around
-- A property as a record of its month asks for it, with the hazards that were stated when the month ended.
select p.id as property_id, p.zone, p.region, p.county, p.locality, p.position, (
           select coalesce(jsonb_agg(to_jsonb(k) - 'business_id' order by k.id), '[]') from rule_pack k
           where k.business_id = :business_id and (p.region = k.region or starts_with(p.region, k.region || '-'))
       ) as packs, (
           select coalesce(jsonb_agg(to_jsonb(w) - 'business_id' order by w.id), '[]') from method w
           where w.business_id = :business_id
       ) as methods, p.ref as property_ref, p.address, b.zone as business_zone, b.licences, b.house_policies,
       exists (select from sign s where s.business_id = :business_id and s.property_id = :property_id
               and s.seen_at between :from_at and :until_at and s.kind = 'undermined_paving') as paving_undermined,
       coalesce((select h.body->'hazards' from stated_version h
                 where h.business_id = :business_id and h.noun = 'property' and h.id = p.id
                   and (h.received_at <= :until_at or h.version = 1)
                 order by h.version desc limit 1), '[]') as hazards
from property p
join business b on b.business_id = :business_id
where p.business_id = :business_id and p.id = :property_id;

-- name: read_holder
-- Whose property it was from one day to another, the last of them: tenures are half-open. Of two that overlap, the one
-- that began later.
select c.id, c.name, c.ref, c.addresses, h.from_on
from tenure h
join customer c on c.business_id = :business_id and c.id = h.customer_id
where h.business_id = :business_id and h.property_id = :property_id
  and h.from_on <= :last_on and (h.until_on is null or h.until_on > :first_on)
order by h.from_on desc, h.id
limit 1;

-- name: list_visits_of_period
-- From the visit before at the property, which begins the period, to the visit's end.
select v.id, v.arrived_at, v.ended_at, v.treatments_none
from visit v
where v.business_id = :business_id and v.property_id = :property_id and v.withdrawn_at is null
  and v.arrived_at <= :ended_at
  and v.arrived_at >= coalesce(
      (select max(w.arrived_at) from visit w
       where w.business_id = :business_id and w.property_id = :property_id and w.withdrawn_at is null
         and (w.arrived_at, w.id) < (:arrived_at::timestamptz, :visit_id::uuid)),
      :arrived_at)
order by v.arrived_at, v.id;

-- name: list_visits_of_month
-- Those that arrived in it, each with what its job says.
select v.id, v.arrived_at, v.ended_at, v.treatments_none, v.outcome, v.worker_id, v.with_worker_ids, v.customer_note,
       k.job_id, j.target,
       case when m.id is not null then jsonb_build_object('number', m.number, 'authority', m.authority) end as permit
from visit v
join visit_job k on k.business_id = :business_id and k.visit_id = v.id
left join job j on j.business_id = :business_id and j.id = k.job_id and j.property_id = v.property_id
left join permit m on m.business_id = :business_id and m.id = j.permit_id
where v.business_id = :business_id and v.property_id = :property_id and v.withdrawn_at is null
  and v.arrived_at between :from_at and :until_at
order by v.arrived_at, v.id;

-- name: list_visit_ids
-- All visits at the property: a month's facts may be brought by a visit of another month.
select v.id from visit v
where v.business_id = :business_id and v.property_id = :property_id and v.withdrawn_at is null;

-- name: list_bringing
-- The visits that brought an animal, a repair or that somebody was told, between two instants.
select c.visit_id from catch c
where c.business_id = :business_id and c.visit_id = any (:visit_ids::uuid[]) and c.caught_at between :from_at and :until_at
union
select r.visit_id from repair r
where r.business_id = :business_id and r.visit_id = any (:visit_ids::uuid[])
  and r.repaired_at between :from_at and :until_at
union
select d.visit_id from told d
where d.business_id = :business_id and d.visit_id = any (:visit_ids::uuid[]) and d.at between :from_at and :until_at;

-- name: list_applied
-- All that may break a claim in the period: treatments, treated seed, and how animals were taken without a check.
select t1.id, 'treatment' as noun, t1.visit_id, t1.method, t1.product, t1.registration, t1.amount::text, t1.unit,
       t1.applied_at, t1.applied_by
from treatment t1
where t1.business_id = :business_id and t1.property_id = :property_id
  and t1.applied_at between :from_at and :until_at
union all
select r.id, 'repair', r.visit_id, 'treated_seed', null, null, null, null, r.repaired_at, 'us'
from repair r
where r.business_id = :business_id and r.property_id = :property_id and r.seed_treated
  and r.repaired_at between :from_at and :until_at
union all
select c.id, 'catch', c.visit_id, c.method, null, null, null, null, c.caught_at, 'us'
from catch c
where c.business_id = :business_id and c.property_id = :property_id and c.method is not null
  and c.caught_at between :from_at and :until_at;

-- name: list_placings
-- Sets at the property that own facts touch, or that had not ended before: own are those of `visit_ids` between
-- `own_from` and `own_until`.
select s.id as set_id, s.visit_id, s.property_id, s.placed_at, s.mechanism, s.moved_from_set_id,
       coalesce(s.target, q.target) as target, q.permit_id is not null as under_permit,
       v.worker_id || v.with_worker_ids as worker_ids, s.position, s.depth_mm, s.foot_traffic, s.cover, s.cover_length_mm,
       s.cover_width_mm, coalesce(s.cover_on_turf, false) as cover_on_turf, s.opening_length_mm, s.opening_width_mm,
       s.opening_on_turf, (select array_agg((one->>'no')::int) from jsonb_array_elements(s.traps) one) as trap_nos
from set_state e
join trap_set s on s.business_id = :business_id and s.id = e.set_id and s.property_id = :property_id
join visit v on v.business_id = :business_id and v.id = s.visit_id
left join visit_job k on k.business_id = :business_id and k.visit_id = s.visit_id
left join job q on q.business_id = :business_id and q.id = k.job_id
where e.business_id = :business_id and e.property_id = :property_id
  and (s.placed_at <= :until_at or s.visit_id = :visit_id)
  and (e.ended_at is null or e.ended_at >= :from_at or s.visit_id = :visit_id
       or exists (select from trap_check c where c.business_id = :business_id and c.set_id = e.set_id
                  and c.visit_id = any (:visit_ids::uuid[]) and c.checked_at between :own_from and :own_until)
       or exists (select from repair r where r.business_id = :business_id and r.set_id = e.set_id
                  and r.visit_id = any (:visit_ids::uuid[]) and r.repaired_at between :own_from and :own_until));

-- name: list_checks
-- Looks at these sets up to the end, by visits at the property, and all of the record's own.
select c.id, c.visit_id, c.property_id, c.set_id, c.checked_at, c.checked_by, c.finding, c.action, c.traps,
       c.ground_searched, c.opening_closed, c.cover, v.worker_id || v.with_worker_ids as worker_ids,
       coalesce((select array_agg(a.trap_no) from catch a where a.business_id = :business_id
                 and a.visit_id = c.visit_id and a.check_id = c.id), '{}') as caught_in
from trap_check c
join visit v on v.business_id = :business_id and v.id = c.visit_id
where c.business_id = :business_id and c.property_id = :property_id
  and ((c.visit_id = any (:visit_ids::uuid[]) and c.checked_at between :own_from and :own_until)
       or (c.set_id = any (:set_ids::uuid[]) and c.checked_at <= :until_at));

-- name: list_set_repairs
-- Repairs at these sets by visits at the property.
select 'repair' as noun, r.id as fact_id, r.visit_id, r.property_id, r.repaired_at as at, r.set_id
from repair r
where r.business_id = :business_id and r.property_id = :property_id and r.set_id = any (:set_ids::uuid[]);

-- name: list_caught
select c.id, c.set_id, c.species, c.sex, c.age_class, c.fate, c.method, j.target as job_target
from catch c
join visit_job k on k.business_id = :business_id and k.visit_id = c.visit_id
left join job j on j.business_id = :business_id and j.id = k.job_id and j.property_id = c.property_id
where c.business_id = :business_id and c.visit_id = any (:visit_ids::uuid[])
  and c.caught_at between :own_from and :own_until;

-- name: list_clearings
-- Of the signs that own facts cleared, also what was cleared before.
select c.id, c.visit_id, c.sign_id, c.cleared_at, c.count, c.cleared_by = 'us' as by_us, s.count as sign_count,
       s.kind = 'mound' as is_mound
from clearing c
left join sign s on s.business_id = :business_id and s.id = c.sign_id and s.property_id = :property_id
    and (s.seen_at <= :until_at or s.visit_id = :visit_id)
where c.business_id = :business_id and c.property_id = :property_id
  and c.sign_id in (select o.sign_id from clearing o where o.business_id = :business_id
                    and o.visit_id = any (:visit_ids::uuid[]) and o.cleared_at between :own_from and :own_until)
  and (c.cleared_at <= :until_at or c.visit_id = :visit_id);

-- name: list_signs
-- Signs on turf at the property that own facts touch, each with what visits there state of it up to the end.
with touched as (
    select s.id from sign s where s.business_id = :business_id and s.visit_id = any (:visit_ids::uuid[])
      and s.seen_at between :own_from and :own_until
    union
    select l.sign_id from look l where l.business_id = :business_id and l.visit_id = any (:visit_ids::uuid[])
      and l.looked_at between :own_from and :own_until
    union
    select c.sign_id from clearing c where c.business_id = :business_id and c.visit_id = any (:visit_ids::uuid[])
      and c.cleared_at between :own_from and :own_until
    union
    select r.sign_id from repair r where r.business_id = :business_id and r.visit_id = any (:visit_ids::uuid[])
      and r.repaired_at between :own_from and :own_until
)
select s.id as sign_id,
    jsonb_build_object(
        'id', s.id, 'visit_id', s.visit_id, 'property_id', s.property_id, 'at', s.seen_at, 'count', s.count,
        'absent_since', s.absent_since, 'geometry', coalesce(s.geometry, g.geometry), 'feature_id', s.feature_id,
        'on_turf', s.on_turf, 'length_mm', s.length_mm, 'width_mm', s.width_mm) as sign,
    (
        select coalesce(jsonb_agg(f), '[]') from (
            select c.id, c.visit_id, c.property_id, c.looked_at as at, c.raised_again, c.fresh_soil, c.turf from look c
            where c.business_id = :business_id and c.sign_id = s.id and c.property_id = s.property_id
              and (c.looked_at <= :until_at or c.visit_id = :visit_id)
        ) f
    ) as looks,
    (
        select coalesce(jsonb_agg(f), '[]') from (
            select c.id, c.visit_id, c.property_id, c.cleared_at as at, c.count from clearing c
            where c.business_id = :business_id and c.sign_id = s.id and c.property_id = s.property_id
              and (c.cleared_at <= :until_at or c.visit_id = :visit_id)
        ) f
    ) as clearings,
    (
        select coalesce(jsonb_agg(f), '[]') from (
            select 'repair' as noun, c.id, c.visit_id, c.property_id, c.repaired_at as at from repair c
            where c.business_id = :business_id and c.sign_id = s.id and c.property_id = s.property_id
              and (c.repaired_at <= :until_at or c.visit_id = :visit_id)
        ) f
    ) as mentions
from touched
join sign s on s.business_id = :business_id and s.id = touched.id
left join feature g on g.business_id = :business_id and g.id = s.feature_id
where s.property_id = :property_id and s.on_turf;

-- name: list_bounds
-- Surveys with nothing fresh and mowings at the property up to the end that may be the latest before these starts of
-- a lawn clock: back to the last one before the first start that speaks for the whole property.
with span as (
    select greatest(
        (
            select max(y.surveyed_at) from survey y
            where y.business_id = :business_id and y.property_id = :property_id and y.surveyed_at < :first_at
              and (y.surveyed_at <= :until_at or y.visit_id = :visit_id)
              and y.fresh_signs = 0 and y.feature_id is null and y.area is null
        ),
        (
            select max(m.at) from upkeep m
            where m.business_id = :business_id and m.property_id = :property_id and m.at < :first_at
              and (m.at <= :until_at or m.visit_id = :visit_id) and m.kind = 'mown' and m.feature_id is null
        ),
        '-infinity'
    ) as since_at
)
select y.id, 'survey' as kind, y.property_id, y.surveyed_at as at, y.feature_id,
    coalesce(y.area, g.geometry) as geometry, y.visit_id
from span
join survey y on y.business_id = :business_id and y.property_id = :property_id
left join feature g on g.business_id = :business_id and g.id = y.feature_id
where y.surveyed_at >= span.since_at and y.surveyed_at < :last_at and y.fresh_signs = 0
  and (y.surveyed_at <= :until_at or y.visit_id = :visit_id)
union all
select m.id, 'mowing', m.property_id, m.at, m.feature_id, g.geometry, m.visit_id
from span
join upkeep m on m.business_id = :business_id and m.property_id = :property_id
left join feature g on g.business_id = :business_id and g.id = m.feature_id
where m.at >= span.since_at and m.at < :last_at and m.kind = 'mown' and (m.at <= :until_at or m.visit_id = :visit_id);

-- name: list_repairs
select r.id as repair_id, r.repaired_at, r.how, r.area_m2::text, r.seed_treated from repair r
where r.business_id = :business_id and r.visit_id = any (:visit_ids::uuid[])
  and r.repaired_at between :own_from and :own_until;

-- name: list_told
select d.id as told_id, d.at as told_at, d.what from told d
where d.business_id = :business_id and d.visit_id = any (:visit_ids::uuid[]) and d.at between :own_from and :own_until;

-- name: list_told_to
-- Of what a record says was told: who was, and how.
select d.id as told_id, d.who, d.how from told d
where d.business_id = :business_id and d.id = any (:told_ids::uuid[])
order by d.at, d.id;

-- name: list_awaited
-- Sets and signs that these visits speak of and that nobody has stated at the property.
select named.noun, named.id
from (
    select 'set' as noun, c.set_id as id from trap_check c
    where c.business_id = :business_id and c.visit_id = any (:visit_ids::uuid[])
    union
    select 'set', s.moved_from_set_id from trap_set s
    where s.business_id = :business_id and s.visit_id = any (:visit_ids::uuid[]) and s.moved_from_set_id is not null
    union
    select 'sign', s.sign_id from trap_set s
    where s.business_id = :business_id and s.visit_id = any (:visit_ids::uuid[]) and s.sign_id is not null
    union
    select 'sign', m.sign_id from tamping m where m.business_id = :business_id and m.visit_id = any (:visit_ids::uuid[])
    union
    select 'sign', l.sign_id from look l where l.business_id = :business_id and l.visit_id = any (:visit_ids::uuid[])
    union
    select 'sign', c.sign_id from clearing c where c.business_id = :business_id and c.visit_id = any (:visit_ids::uuid[])
    union
    select 'sign', r.sign_id from repair r
    where r.business_id = :business_id and r.visit_id = any (:visit_ids::uuid[]) and r.sign_id is not null
    union
    select 'set', r.set_id from repair r
    where r.business_id = :business_id and r.visit_id = any (:visit_ids::uuid[]) and r.set_id is not null
) named
where not exists (select from trap_set s where named.noun = 'set' and s.business_id = :business_id
                  and s.id = named.id and s.property_id = :property_id)
  and not exists (select from sign s where named.noun = 'sign' and s.business_id = :business_id
                  and s.id = named.id and s.property_id = :property_id)
order by named.noun, named.id;

-- name: list_rested
select v.id as visit_id, v.version, v.first_received_at as received_at, v.ended_at from visit v
where v.business_id = :business_id and v.id = any (:visit_ids::uuid[])
order by v.arrived_at, v.id;

-- name: list_arrivals
-- Of each key that brought one of these visits: when anything arrived from it last.
select k.key_id,
       greatest((select max(a.received_at) from visit_version a
                 where a.business_id = :business_id and a.key_id = k.key_id),
                (select max(s.received_at) from stated_version s
                 where s.business_id = :business_id and s.key_id = k.key_id)) as received_at
from (select distinct w.key_id from visit_version w
      where w.business_id = :business_id and w.visit_id = any (:visit_ids::uuid[])) k
order by k.key_id;

-- name: list_latest_of_visits
-- The latest version of the record of each of these visits.
select distinct on (r.visit_id) r.number || '.' || r.version as version from service_record r
where r.business_id = :business_id and r.visit_id = any (:visit_ids::uuid[])
order by r.visit_id, r.version desc;

-- name: list_worker_names
-- In the order of the ids: who led the visit comes first.
select w.name from worker w
where w.business_id = :business_id and w.id = any (:worker_ids::uuid[])
order by array_position(:worker_ids::uuid[], w.id);

-- name: latest_version
select r.number, r.version, r.content_sha256,
       exists (select from billed b where b.business_id = :business_id and b.number = r.number) as is_billed
from service_record r
where r.business_id = :business_id and r.visit_id = :visit_id
order by r.version desc
limit 1;

-- name: latest_version_of_month
select r.number, r.version, r.content_sha256,
       exists (select from billed b where b.business_id = :business_id and b.number = r.number) as is_billed
from service_record r
where r.business_id = :business_id and r.property_id = :property_id and r.month_on = :month_on
order by r.version desc
limit 1;

-- name: next_number
-- Locked before the counter of the log, so that numbers have no gap and nobody waits in a circle.
insert into counter as c (business_id, name, value)
values (:business_id, :name, 1)
on conflict (business_id, name) do update set value = c.value + 1
where c.business_id = :business_id
returning c.value;

-- name: insert_record
with replaced as (
    update service_record set replaced_sequence = :sequence
    where business_id = :business_id and number = :number and version = :version - 1
)
insert into service_record (business_id, number, version, visit_id, month_on, property_id, customer_id, service_on, issued_at,
    sequence, pesticide_free_by_us, pesticide_known_at_property, withdrawn, bytes, sha256, signature, content_sha256, party)
values (:business_id, :number, :version, :visit_id, :month_on, :property_id, :customer_id, :service_on, :issued_at,
    :sequence, :pesticide_free_by_us, :pesticide_known_at_property, :withdrawn, :bytes, :sha256, :signature, :content_sha256,
    :party);

-- name: list_recorded
-- Visits at the property that ended at or after an instant, and months that may have, which have a record: the earliest
-- first, at most so many, but all that ended together. A local month is over a day after it is in UTC at the latest.
select found.visit_id, found.month_on, found.over_at
from (
    select v.id as visit_id, null::date as month_on, v.ended_at as over_at from visit v
    where v.business_id = :business_id and v.property_id = :property_id
      and exists (select from service_record r where r.business_id = :business_id and r.visit_id = v.id)
    union all
    select null, r.month_on, (r.month_on + interval '1 month 1 day') at time zone 'UTC' from service_record r
    where r.business_id = :business_id and r.property_id = :property_id and r.month_on is not null and r.version = 1
) found
where :since_at::timestamptz is null or found.over_at >= :since_at
order by found.over_at
fetch first :most rows with ties;

-- name: is_still_due
-- Whether the clock issues the first record of a visit: it has none, and the business does not leave it to the office.
select b.issue <> 'by_office' and not exists (
    select from service_record r where r.business_id = :business_id and r.visit_id = :visit_id)
from business b where b.business_id = :business_id;

-- name: read_latest_of_visit
select r.number, r.version, signed_line(r.bytes, r.sha256, r.signature) as line, encode(r.sha256, 'hex') as sha256
from service_record r
where r.business_id = :business_id and r.visit_id = :visit_id
order by r.version desc
limit 1;

-- name: read_latest_of_month
select r.number, r.version, signed_line(r.bytes, r.sha256, r.signature) as line, encode(r.sha256, 'hex') as sha256
from service_record r
where r.business_id = :business_id and r.property_id = :property_id and r.month_on = :month_on
order by r.version desc
limit 1;
