-- name: lock_business_for_update
-- Writers of one business stand in line here, so that each works out derived state from all facts before it.
-- "no key update" leaves foreign key checks of clock and courier alone. What follows in the transaction looks at few
-- rows by their keys, whatever the values: planning each statement anew for them would take longer than running it.
select business_id, set_config('plan_cache_mode', 'force_generic_plan', true)
from business where business_id = :business_id for no key update;

-- name: insert_events
-- The counter row comes last in a transaction: it gives the log its gap-free order, for rows really inserted.
with told as (
    select u.id, u.type, u.subject, u.time, u.data, u.cause, row_number() over (order by u.place) as place
    from unnest(:ids::uuid[], :types::text[], :subjects::uuid[], :times::timestamptz[], :data::text[], :causes::text[])
        with ordinality as u (id, type, subject, time, data, cause, place)
    where not exists (select from event e where e.business_id = :business_id and e.cause = u.cause)
), numbered as (
    update counter set value = value + (select count(*) from told)
    where business_id = :business_id and name = 'event'
    returning value - (select count(*) from told) as before
), written as (
    insert into event (business_id, sequence, id, type, subject, time, data, cause)
    select :business_id, n.before + told.place, told.id, told.type, told.subject, told.time, told.data::json, told.cause
    from told, numbered n
    returning sequence, id
)
select w.id, w.sequence, pg_notify('setbook_event', :business_id::text) is null as told from written w order by w.sequence;

-- name: read_latest_sequence
-- Where the log stands: all events up to there are committed, since the counter's row is locked till then.
select value from counter where business_id = :business_id and name = 'event';

-- name: list_events
select business_id, sequence, id, type, subject, time, data::text as data from event
where business_id = :business_id and sequence > :after_sequence and sequence <= :latest_sequence
  and (cardinality(:types::text[]) = 0
       or type = any (:types::text[]) or split_part(type, '.', 1) || '.*' = any (:types::text[]))
order by sequence limit :most;

-- name: list_endpoints
select id, version, url, types, description, state, paused_reason, created_at from endpoint
where business_id = :business_id and id > :after_id::uuid
order by id limit :most;

-- name: read_endpoint
select id, version, url, types, description, state, paused_reason, created_at from endpoint
where business_id = :business_id and id = :id;

-- name: read_endpoint_for_update
-- Locked, because the courier may pause it meanwhile.
select id, version, url, types, description, state, paused_reason, created_at from endpoint
where business_id = :business_id and id = :id for update;

-- name: insert_endpoint
-- It gets what is told from now on: the log up to here counts as fanned out.
insert into endpoint (business_id, id, url, types, description, state, paused_reason, secret_sealed,
                      fanned_out_sequence, created_at)
select :business_id, :id::uuid, :url::text, :types::text[], :description::text, :state::text, :paused_reason::text,
       :secret_sealed::bytea, c.value, :now::timestamptz
from counter c where c.business_id = :business_id and c.name = 'event'
returning id, version, url, types, description, state, paused_reason, created_at;

-- name: update_endpoint
update endpoint
set version = version + 1, url = :url, types = :types, description = :description, state = :state,
    paused_reason = :paused_reason
where business_id = :business_id and id = :id
returning id, version, url, types, description, state, paused_reason, created_at;

-- name: delete_endpoint
delete from endpoint where business_id = :business_id and id = :id;

-- name: list_deliveries
-- Newest first.
select d.deliverynumber::text as deliverynumber, lpad(d.sequence::text, 20, '0') as sequence, v.id as event_id,
       v.type as event_type, d.state, d.attempt, case when d.state = 'waiting' then d.due_at end as due_at,
       d.last_status, d.last_error, d.last_duration_ms, d.delivered_at
from delivery d join event v on v.business_id = :business_id and v.sequence = d.sequence
where d.business_id = :business_id and d.endpoint_id = :endpoint_id
  and d.deliverynumber < :before_deliverynumber::bigint
order by d.deliverynumber desc limit :most;

-- name: fan_out
-- Spans businesses: the courier serves them all. An endpoint's row is locked while its deliveries are numbered,
-- so that the numbers have no gap; a second courier passes over it. A paused one is left where it stands. The
-- furthest behind come first, and no more at once than is done in a moment.
with behind as materialized (
    select e.business_id, e.id, e.types, e.fanned_out_sequence, e.last_deliverynumber,
           least(c.value, e.fanned_out_sequence + :most_events::bigint) as upto
    from endpoint e join counter c on c.business_id = e.business_id and c.name = 'event'
    where e.state = 'active' and e.fanned_out_sequence < c.value
    order by c.value - e.fanned_out_sequence desc
    limit :most_endpoints
    for update of e skip locked
), matching as (
    select b.business_id, b.id as endpoint_id, v.sequence,
           b.last_deliverynumber + row_number() over (partition by b.business_id, b.id order by v.sequence)
               as deliverynumber
    from behind b
    join event v on v.business_id = b.business_id and v.sequence > b.fanned_out_sequence and v.sequence <= b.upto
    where case when v.type = 'test.ping' then v.subject = b.id
          else cardinality(b.types) = 0
               or v.type = any (b.types) or split_part(v.type, '.', 1) || '.*' = any (b.types) end
), written as (
    insert into delivery (business_id, endpoint_id, deliverynumber, sequence, due_at)
    select business_id, endpoint_id, deliverynumber, sequence, :now::timestamptz from matching
    returning business_id, endpoint_id
), moved as (
    update endpoint e
    set fanned_out_sequence = b.upto,
        last_deliverynumber = e.last_deliverynumber
            + (select count(*) from written w where w.business_id = b.business_id and w.endpoint_id = b.id)
    from behind b where e.business_id = b.business_id and e.id = b.id
    returning e.id
)
select count(*) from moved;

-- name: claim_deliveries
-- Spans businesses: the courier serves them all. due_at is schedule, retry and lease at once: a claim moves it to
-- the end of the lease, so that a delivery whose courier died comes up again by itself. Each endpoint gives at
-- most :most_of_one, less what is in the air to it already, so that a slow receiver holds nobody else up.
with taken as materialized (
    select d.business_id, d.endpoint_id, d.deliverynumber, e.url, e.secret_sealed
    from endpoint e
    left join unnest(:endpoint_ids::uuid[], :in_air::int[]) as a (endpoint_id, in_air) on a.endpoint_id = e.id
    cross join lateral (
        select w.business_id, w.endpoint_id, w.deliverynumber from delivery w
        where w.business_id = e.business_id and w.endpoint_id = e.id and w.state = 'waiting' and w.due_at <= :now
        order by w.due_at
        limit greatest(0, :most_of_one::int - coalesce(a.in_air, 0))
        for update skip locked
    ) d
    where e.state = 'active'
    limit :most
), claimed as (
    update delivery d set due_at = :lease_until, attempt = d.attempt + 1
    from taken k
    where d.business_id = k.business_id and d.endpoint_id = k.endpoint_id and d.deliverynumber = k.deliverynumber
    returning d.business_id, d.endpoint_id, d.deliverynumber, d.sequence, d.attempt, k.url, k.secret_sealed
)
select c.business_id, c.endpoint_id, c.deliverynumber, c.attempt, c.url, c.secret_sealed,
       v.sequence, v.id, v.type, v.subject, v.time, v.data::text as data
from claimed c join event v on v.business_id = c.business_id and v.sequence = c.sequence
order by c.endpoint_id, c.deliverynumber;

-- name: settle_deliveries
-- Spans businesses: the courier serves them all. Fenced by the attempt: the word of a courier whose lease ran out
-- and whose delivery was claimed again is void. (With the state beside it the planner takes the waiting list's
-- index and walks all of an endpoint's backlog for each row.)
update delivery d
set state = s.state, due_at = s.due_at, last_status = s.status, last_error = s.error,
    last_duration_ms = s.duration_ms, delivered_at = case when s.state = 'delivered' then :now::timestamptz end
from unnest(:business_ids::uuid[], :endpoint_ids::uuid[], :deliverynumbers::bigint[], :attempts::int[],
            :states::text[], :due_ats::timestamptz[], :statuses::int[], :errors::text[], :durations_ms::int[])
    as s (business_id, endpoint_id, deliverynumber, attempt, state, due_at, status, error, duration_ms)
where d.business_id = s.business_id and d.endpoint_id = s.endpoint_id and d.deliverynumber = s.deliverynumber
  and d.attempt = s.attempt
returning d.endpoint_id, d.deliverynumber;

-- name: pause_endpoint
-- By the courier; once only, so that it is told once.
update endpoint set state = 'paused', paused_reason = :reason, version = version + 1
where business_id = :business_id and id = :id and state = 'active'
returning id;
