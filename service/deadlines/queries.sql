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

-- name: read_deadlines_of_subjects
-- With what the clock says next. That is locked, because a tick may be saying it now: then it is waited for, and gone.
select d.id, d.kind, d.subject_id, d.starting_fact_id, d.property_id, d.started_at, d.due_at, d.state, d.met_at,
       d.met_by_fact_id, d.outcome, d.why, d.known_at, d.known_by_worker_id, d.known_by_key_id, d.episode,
       d.announced_due_at, d.announced_event_id, d.settled_outcome, d.settled_event_id, w.wake_at, w.type as wake_type
from deadline d
left join lateral (
    select k.wake_at, k.type from wake k
    where k.business_id = :business_id and k.deadline_id = d.id and d.state = 'open'
    for update
) w on true
where d.business_id = :business_id and d.subject_id = any (:subject_ids::uuid[]) and d.kind = any (:kinds::text[]);

-- name: upsert_deadlines
-- Kind, subject and starting fact make the id, so they never change. :wakes is what the clock says next of these
-- deadlines, :silent_ids are those of which it says nothing more.
with silent as (
    delete from wake where business_id = :business_id and deadline_id = any (:silent_ids::uuid[])
), woken as (
    insert into wake as w
        (business_id, deadline_id, wake_at, due_at, type, subject, event_id, cause, data, known_at,
         known_by_worker_id, known_by_key_id)
    select :business_id, r.deadline_id, r.wake_at, r.due_at, r.type, r.subject, r.event_id, r.cause, r.data::json,
           r.known_at, r.known_by_worker_id, r.known_by_key_id
    from jsonb_to_recordset(:wakes::jsonb) as r
        (deadline_id uuid, wake_at timestamptz, due_at timestamptz, type text, subject uuid, event_id uuid, cause text,
         data text, known_at timestamptz, known_by_worker_id uuid, known_by_key_id uuid)
    on conflict (business_id, deadline_id) do update
    set wake_at = excluded.wake_at, due_at = excluded.due_at, type = excluded.type, subject = excluded.subject,
        event_id = excluded.event_id, cause = excluded.cause, data = excluded.data, known_at = excluded.known_at,
        known_by_worker_id = excluded.known_by_worker_id, known_by_key_id = excluded.known_by_key_id
    where w.business_id = :business_id
)
insert into deadline as d
    (business_id, id, kind, subject_id, starting_fact_id, property_id, started_at, due_at, state, met_at,
     met_by_fact_id, outcome, why, known_at, known_by_worker_id, known_by_key_id, episode, announced_due_at,
     announced_event_id, settled_outcome, settled_event_id)
select :business_id, r.id, r.kind, r.subject_id, r.starting_fact_id, r.property_id, r.started_at, r.due_at, r.state,
       r.met_at, r.met_by_fact_id, r.outcome, r.why, r.known_at, r.known_by_worker_id, r.known_by_key_id, r.episode,
       r.announced_due_at, r.announced_event_id, r.settled_outcome, r.settled_event_id
from jsonb_to_recordset(:rows::jsonb) as r
    (id uuid, kind text, subject_id uuid, starting_fact_id uuid, property_id uuid, started_at timestamptz,
     due_at timestamptz, state text, met_at timestamptz, met_by_fact_id uuid, outcome text, why jsonb,
     known_at timestamptz, known_by_worker_id uuid, known_by_key_id uuid, episode int, announced_due_at timestamptz,
     announced_event_id uuid, settled_outcome text, settled_event_id uuid)
on conflict (business_id, id) do update
set property_id = excluded.property_id, started_at = excluded.started_at, due_at = excluded.due_at,
    state = excluded.state, met_at = excluded.met_at, met_by_fact_id = excluded.met_by_fact_id,
    outcome = excluded.outcome, why = excluded.why, known_at = excluded.known_at,
    known_by_worker_id = excluded.known_by_worker_id, known_by_key_id = excluded.known_by_key_id,
    episode = excluded.episode, announced_due_at = excluded.announced_due_at,
    announced_event_id = excluded.announced_event_id, settled_outcome = excluded.settled_outcome,
    settled_event_id = excluded.settled_event_id
where d.business_id = :business_id;

-- name: postpone_settling
-- A worker or key that is still sending may yet bring the look that meets what it made known too late.
update wake
set wake_at = greatest(wake_at, least(known_at + :longest::interval, :now::timestamptz + :settling::interval))
where business_id = :business_id and known_at is not null
  and (known_by_worker_id = :worker_id::uuid or known_by_key_id = :key_id::uuid);

-- name: say_what_is_due
-- Spans businesses, as the clock. One statement: claims wakes whose time has come, at most :most_of_one of a business
-- so that its counter is not held for long, takes them away, and writes their events with numbers in the gap-free
-- order of each business's log. A second clock passes over claimed rows; counters are locked last, in one order. A
-- wake of a word "due soon" stays for the one at the due instant, and after that instant it is no longer told.
-- Looks from :since on, and then from :since_business (null: from the start), so as not to walk over what was said
-- and cannot be swept away while an old snapshot is open. The next statement may go on at `next_*`; `is_all` says that
-- nothing is left from here up to :now, not even what somebody holds. A claimed row that moved since the statement
-- began is missed by its ctid and waits for the next one.
with claimed as materialized (
    select ctid as place_on_disk, business_id, deadline_id, wake_at, type, subject, event_id, cause,
           type like '%.due_soon' as is_soon, due_at <= :now as is_due
    from wake
    where (wake_at, business_id) >= (coalesce(:since::timestamptz, '-infinity'),
                                     coalesce(:since_business::uuid, '00000000-0000-0000-0000-000000000000'))
      and wake_at <= :now
    order by wake_at, business_id
    limit :most
    for update skip locked
), placed as materialized (
    select c.*, row_number() over (partition by c.business_id order by c.wake_at, c.deadline_id) as place
    from claimed c
), next as (
    -- the first that must wait for its business's next turn, else the last one
    (select p.wake_at, p.business_id from placed p where p.place > :most_of_one order by 1, 2 limit 1)
    union all
    (select p.wake_at, p.business_id from placed p order by 1 desc, 2 desc limit 1)
    limit 1
), kept as (
    update wake w
    set wake_at = w.due_at, type = o.type, cause = o.cause,
        event_id = encode(set_byte(set_byte(o.hash, 6, get_byte(o.hash, 6) & 15 | 128),
                                   8, get_byte(o.hash, 8) & 63 | 128), 'hex')::uuid
    from placed p
    cross join lateral (
        select replace(p.type, '.due_soon', '.overdue') as type, replace(p.cause, '.due_soon/', '.overdue/') as cause
    ) n
    cross join lateral (
        select n.*, substring(sha256(convert_to(p.business_id || '/' || n.cause, 'UTF8')) for 16) as hash
    ) o
    where w.ctid = p.place_on_disk and p.place <= :most_of_one and p.is_soon
    returning p.business_id, p.place, p.type, p.subject, p.event_id, p.cause, w.data, p.is_due
), gone as (
    delete from wake w using placed p
    where w.ctid = p.place_on_disk and p.place <= :most_of_one and not p.is_soon
    returning p.business_id, p.place, p.type, p.subject, p.event_id, p.cause, w.data
), fresh as materialized (
    -- one look into the index for each, however long the log
    select s.*, row_number() over (partition by s.business_id order by s.place) as number
    from (
        select k.business_id, k.place, k.type, k.subject, k.event_id, k.cause, k.data from kept k where not k.is_due
        union all
        select * from gone
    ) s
    where coalesce((select false from event e where e.business_id = s.business_id and e.cause = s.cause), true)
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
    select f.business_id, b.before + f.number, f.event_id, f.type, f.subject, :now, f.data, f.cause
    from fresh f join bumped b on b.business_id = f.business_id
    returning business_id
)
select (select count(*) from claimed) as claimed, (select count(*) from written) as said,
       (select wake_at from next) as next_at, (select business_id from next) as next_business,
       not exists (select from claimed) and not exists (
           select from wake
           where wake_at >= coalesce(:since::timestamptz, '-infinity') and wake_at <= :now
       ) as is_all,
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
