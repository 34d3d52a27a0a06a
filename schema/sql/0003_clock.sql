-- 0003: what the clock says next stands in a narrow table of its own, so that a tick costs what is due.

-- A row is the event that the clock will write, and when; it goes away as it is said. So a deadline that is open and
-- has none was spoken of at its due instant (service/deadlines/said.py). Written and taken away in one statement with
-- its deadline, which needs no foreign key beside it.
create table wake (
    business_id uuid not null,
    deadline_id uuid not null,
    wake_at timestamptz not null,
    due_at timestamptz not null,
    type text not null,
    subject uuid not null,
    event_id uuid not null,
    cause text not null,
    data json not null,
    -- who made it known, where it was already due by then: it waits until their phone has gone quiet
    known_at timestamptz,
    known_by_worker_id uuid,
    known_by_key_id uuid,
    primary key (business_id, deadline_id)
) with (
    -- said rows lie at the head of wake_due until they are swept away
    autovacuum_vacuum_scale_factor = 0.01, autovacuum_vacuum_threshold = 1000, autovacuum_vacuum_cost_delay = 0
);
select guard_table('wake', true);

insert into wake (business_id, deadline_id, wake_at, due_at, type, subject, event_id, cause, data,
                  known_at, known_by_worker_id, known_by_key_id)
select d.business_id, d.id, d.wake_at, d.due_at, d.wake_type, d.subject_id,
       encode(set_byte(set_byte(h.hash, 6, get_byte(h.hash, 6) & 15 | 128),
                       8, get_byte(h.hash, 8) & 63 | 128), 'hex')::uuid,
       c.cause,
       json_strip_nulls(json_build_object(
           'deadline_id', d.id, 'started_at', replace(i.started, '.000000Z', 'Z'),
           'due_at', replace(i.due, '.000000Z', 'Z'), 'episode', d.episode, 'why', d.why ->> 'sentence',
           'explanation', d.why - '{sentence,started_at,attempts}'::text[],
           'known_late', case when d.known_at > d.due_at then true end,
           'replaces', coalesce(d.settled_event_id, d.announced_event_id), 'property_id', d.property_id,
           case when d.kind in ('check', 'set_search', 'lawn_cover') then 'set_id'
                when d.kind = 'report' then 'permit_id' else 'sign_id' end, d.subject_id)),
       case when d.known_at > d.due_at then d.known_at end,
       case when d.known_at > d.due_at then d.known_by_worker_id end,
       case when d.known_at > d.due_at then d.known_by_key_id end
from deadline d
cross join lateral (
    select to_char(d.started_at at time zone 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"') as started,
           to_char(d.due_at at time zone 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"') as due
) i
cross join lateral (select concat_ws('/', d.wake_type, d.subject_id, d.id, i.due, '', d.episode) as cause) c
cross join lateral (
    select substring(sha256(convert_to(d.business_id || '/' || c.cause, 'UTF8')) for 16) as hash
) h
where d.wake_at is not null;

-- the tick reads from the head of this one; what falls due at one instant lies by business, as its log is written
create index wake_due on wake (wake_at, business_id);
-- the settling time moves with every visit of the same worker or key
create index wake_settling_worker on wake (business_id, known_by_worker_id) where known_at is not null;
create index wake_settling_key on wake (business_id, known_by_key_id) where known_at is not null;

-- their indexes go with them
alter table deadline drop column wake_at, drop column wake_type;

-- the clock needs nothing of a deadline any more
revoke select, update on deadline from :prefix_clock;
drop policy every_business on deadline;
grant select, update, delete on wake to :prefix_clock;

-- An event is inserted with the number that its business's counter gives, and the counter's own key names the business:
-- looking that up once more for each event took a third of the time.
alter table event drop constraint event_business_id_fkey;
