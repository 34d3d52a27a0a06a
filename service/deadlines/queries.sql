-- name: list_places
-- Where each property lies, the house's policies and its own packs there, and the visits since an instant that met
-- a locked gate.
select p.id as property_id, p.zone, p.region, p.county, p.locality, p.position, b.house_policies, (
        select coalesce(jsonb_agg(to_jsonb(k) - 'business_id' order by k.id), '[]') from rule_pack k
        where k.business_id = :business_id and (p.region = k.region or p.region like k.region || '-%')
    ) as packs, (
        select coalesce(jsonb_agg(a), '[]') from (
            select v.id as visit_id, v.arrived_at, v.no_access_reason as reason from visit v
            where v.business_id = :business_id and v.property_id = p.id and v.withdrawn_at is null
              and v.arrived_at >= :since and v.outcome = 'no_access'
            order by v.arrived_at, v.id
        ) a
    ) as attempts
from property p join business b on b.business_id = :business_id
where p.business_id = :business_id and p.id = any(:property_ids::uuid[]);

-- name: read_deadlines_of_subjects_for_update
-- Locked, because a tick may be saying something of them: what it said is read here, or it passes over the row.
select id, kind, subject_id, starting_fact_id, property_id, started_at, due_at, state, met_at, met_by_fact_id,
       outcome, why, known_at, known_by_worker_id, known_by_key_id, episode, announced_due_at, announced_event_id,
       settled_outcome, settled_event_id, wake_at, wake_type
from deadline
where business_id = :business_id and subject_id = any (:subject_ids::uuid[]) and kind = any (:kinds::text[])
for update;

-- name: upsert_deadlines
-- Kind, subject and starting fact make the id, so they never change.
insert into deadline as d
    (business_id, id, kind, subject_id, starting_fact_id, property_id, started_at, due_at, state, met_at,
     met_by_fact_id, outcome, why, known_at, known_by_worker_id, known_by_key_id, episode, announced_due_at,
     announced_event_id, settled_outcome, settled_event_id, wake_at, wake_type)
select :business_id, r.id, r.kind, r.subject_id, r.starting_fact_id, r.property_id, r.started_at, r.due_at, r.state,
       r.met_at, r.met_by_fact_id, r.outcome, r.why, r.known_at, r.known_by_worker_id, r.known_by_key_id, r.episode,
       r.announced_due_at, r.announced_event_id, r.settled_outcome, r.settled_event_id, r.wake_at, r.wake_type
from jsonb_to_recordset(:rows::jsonb) as r
    (id uuid, kind text, subject_id uuid, starting_fact_id uuid, property_id uuid, started_at timestamptz,
     due_at timestamptz, state text, met_at timestamptz, met_by_fact_id uuid, outcome text, why jsonb,
     known_at timestamptz, known_by_worker_id uuid, known_by_key_id uuid, episode int, announced_due_at timestamptz,
     announced_event_id uuid, settled_outcome text, settled_event_id uuid, wake_at timestamptz, wake_type text)
on conflict (business_id, id) do update
set property_id = excluded.property_id, started_at = excluded.started_at, due_at = excluded.due_at,
    state = excluded.state, met_at = excluded.met_at, met_by_fact_id = excluded.met_by_fact_id,
    outcome = excluded.outcome, why = excluded.why, known_at = excluded.known_at,
    known_by_worker_id = excluded.known_by_worker_id, known_by_key_id = excluded.known_by_key_id,
    episode = excluded.episode, announced_due_at = excluded.announced_due_at,
    announced_event_id = excluded.announced_event_id, settled_outcome = excluded.settled_outcome,
    settled_event_id = excluded.settled_event_id, wake_at = excluded.wake_at, wake_type = excluded.wake_type
where d.business_id = :business_id;

-- name: postpone_settling
-- A worker or key that is still sending may yet bring the look that meets what it made known too late.
update deadline
set wake_at = greatest(wake_at, least(known_at + :longest::interval, :now::timestamptz + :settling::interval))
where business_id = :business_id and wake_at is not null and known_at > due_at
  and (known_by_worker_id = :worker_id::uuid or known_by_key_id = :key_id::uuid);

-- name: say_what_is_due
-- Spans businesses, as the clock. One statement: claims rows whose time to speak has come, at most :most_of_one
-- of a business so that its counter is not held for long, gives the events their numbers in the gap-free order of
-- each business's log, and sets what the clock says next. A second clock passes over claimed rows; counters are
-- locked last, in one order. A word "due soon" that comes after the due instant is left out for the one at it.
-- Cause, id and data are those of said.word(). Should dead entries at the head of deadline_wake cost too much
-- while an old snapshot is open, a lower bound for wake_at belongs into `claimed`.
with claimed as materialized (
    select business_id, id, kind, subject_id, property_id, started_at, due_at, why ->> 'sentence' as sentence,
           known_at, episode, coalesce(settled_event_id, announced_event_id) as replaces, wake_at,
           case when due_at <= :now then replace(wake_type, '.due_soon', '.overdue') else wake_type end as type
    from deadline
    where wake_at <= :now
    order by wake_at
    limit :most
    for update skip locked
), placed as (
    select c.*, row_number() over (partition by c.business_id order by c.wake_at, c.id) as place,
           to_char(c.due_at at time zone 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"') as due,
           to_char(c.started_at at time zone 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"') as started
    from claimed c
), caused as (
    select p.*, concat_ws('/', p.type, p.subject_id, p.id, p.due, '', p.episode) as cause
    from placed p where p.place <= :most_of_one
), said as materialized (
    select c.*, encode(set_byte(set_byte(h.hash, 6, get_byte(h.hash, 6) & 15 | 128),
                                8, get_byte(h.hash, 8) & 63 | 128), 'hex')::uuid as event_id
    from caused c
    cross join lateral (
        select substring(sha256(convert_to(c.business_id || '/' || c.cause, 'UTF8')) for 16) as hash
    ) h
), fresh as materialized (
    select s.*, row_number() over (partition by s.business_id order by s.place) as number
    from said s
    left join lateral (
        -- one look into the index for each, however long the log
        select e.sequence from event e where e.business_id = s.business_id and e.cause = s.cause limit 1
    ) before on true
    where before.sequence is null
), locked as materialized (
    select c.business_id from counter c
    where c.name = 'event' and c.business_id in (select f.business_id from fresh f)
    order by c.business_id
    for update
), bumped as (
    update counter c set value = c.value + f.told
    from locked l
    join (select business_id, count(*) as told from fresh group by business_id) f on f.business_id = l.business_id
    where c.business_id = l.business_id and c.name = 'event'
    returning c.business_id, c.value - f.told as before
), written as (
    insert into event (business_id, sequence, id, type, subject, time, data, cause)
    select f.business_id, b.before + f.number, f.event_id, f.type, f.subject_id, :now,
           json_strip_nulls(json_build_object(
               'deadline_id', f.id, 'property_id', f.property_id,
               'started_at', replace(f.started, '.000000Z', 'Z'), 'due_at', replace(f.due, '.000000Z', 'Z'),
               'episode', f.episode, 'why', f.sentence, 'known_late', case when f.known_at > f.due_at then true end,
               'replaces', f.replaces,
               case when f.kind in ('check', 'set_search', 'lawn_cover') then 'set_id'
                    when f.kind = 'report' then 'permit_id' else 'sign_id' end, f.subject_id)),
           f.cause
    from fresh f join bumped b on b.business_id = f.business_id
    returning business_id
), moved as (
    update deadline d
    set wake_at = case when s.type like '%.due_soon' then d.due_at end,
        wake_type = case when s.type like '%.due_soon' then replace(s.type, '.due_soon', '.overdue') end,
        announced_due_at = case when s.type like '%.due_soon' then d.announced_due_at else d.due_at end,
        announced_event_id = case when s.type like '%.due_soon' then d.announced_event_id else s.event_id end,
        settled_outcome = case when s.type like '%.due_soon' then d.settled_outcome end,
        settled_event_id = case when s.type like '%.due_soon' then d.settled_event_id end
    from said s
    where d.business_id = s.business_id and d.id = s.id
    returning d.id
)
select (select count(*) from moved) as said,
       (select count(pg_notify('setbook_event', w.business_id::text)) from (select distinct business_id from written) w)
           as notified;

-- name: list_deadlines
-- In order of the due instant; the page is found first and filled up afterwards. A deadline's job is that of the
-- visit which states its set or sign; a report's zone is that of the business. The day before `since` and the one
-- after `until` leave out most before zones are asked.
with found as materialized (
    select d.* from deadline d
    where d.business_id = :business_id and (d.due_at, d.id) > (:after_due_at::timestamptz, :after_id::uuid)
      and (:property_id::uuid is null or d.property_id = :property_id)
      and (:subject_id::uuid is null or d.subject_id = :subject_id)
      and (:kind::text is null or d.kind = :kind)
      and (:state::text is null or d.state = :state)
      and (:overdue::boolean is null or (d.state = 'open' and d.due_at <= :now) = :overdue)
      and (:since::date is null or d.due_at >= :since::date - 1 and d.due_at >= (
            select :since::date::timestamp at time zone coalesce(p.zone, b.zone) from business b
            left join property p on p.business_id = :business_id and p.id = d.property_id
            where b.business_id = :business_id))
      and (:until::date is null or d.due_at < :until::date + 1 and d.due_at < (
            select :until::date::timestamp at time zone coalesce(p.zone, b.zone) from business b
            left join property p on p.business_id = :business_id and p.id = d.property_id
            where b.business_id = :business_id))
      and (:job_id::uuid is null or exists (
            select from trap_set s join visit_job j on j.business_id = :business_id and j.visit_id = s.visit_id
            where s.business_id = :business_id and s.id = d.subject_id and j.job_id = :job_id
        ) or exists (
            select from sign g join visit_job j on j.business_id = :business_id and j.visit_id = g.visit_id
            where g.business_id = :business_id and g.id = d.subject_id and j.job_id = :job_id))
    order by d.due_at, d.id limit :most
)
select d.id, d.kind, case when d.kind in ('check', 'set_search', 'lawn_cover') then d.subject_id end as set_id,
       case when d.kind in ('run_look', 'lawn', 'lawn_followup') then d.subject_id end as sign_id,
       case when d.kind = 'report' then d.subject_id end as permit_id, d.property_id, j.job_id,
       d.starting_fact_id, d.started_at, d.due_at, d.state, d.state = 'open' and d.due_at <= :now as overdue, d.met_at, d.met_by_fact_id, d.outcome,
       d.known_at, d.episode, d.why, exists (
           select from work w
           where w.business_id = :business_id and (w.kind = 'property_anew' and w.subject_id = d.property_id
               -- a permit's stands there till its next period begins; taken up, it is tried again later
               or w.kind = 'permit_anew' and w.subject_id = d.subject_id and (w.run_at <= :now or w.attempt > 0))
       ) as being_worked_out_anew
from found d
left join trap_set s on s.business_id = :business_id and s.id = d.subject_id
left join sign g on g.business_id = :business_id and g.id = d.subject_id
left join visit_job j on j.business_id = :business_id and j.visit_id = coalesce(s.visit_id, g.visit_id)
order by d.due_at, d.id;

-- name: read_deadline
select d.id, d.kind, case when d.kind in ('check', 'set_search', 'lawn_cover') then d.subject_id end as set_id,
       case when d.kind in ('run_look', 'lawn', 'lawn_followup') then d.subject_id end as sign_id,
       case when d.kind = 'report' then d.subject_id end as permit_id, d.property_id, j.job_id,
       d.starting_fact_id, d.started_at, d.due_at, d.state, d.state = 'open' and d.due_at <= :now as overdue, d.met_at, d.met_by_fact_id, d.outcome,
       d.known_at, d.episode, d.why, exists (
           select from work w
           where w.business_id = :business_id and (w.kind = 'property_anew' and w.subject_id = d.property_id
               -- a permit's stands there till its next period begins; taken up, it is tried again later
               or w.kind = 'permit_anew' and w.subject_id = d.subject_id and (w.run_at <= :now or w.attempt > 0))
       ) as being_worked_out_anew
from deadline d
left join trap_set s on s.business_id = :business_id and s.id = d.subject_id
left join sign g on g.business_id = :business_id and g.id = d.subject_id
left join visit_job j on j.business_id = :business_id and j.visit_id = coalesce(s.visit_id, g.visit_id)
where d.business_id = :business_id and d.id = :id;
