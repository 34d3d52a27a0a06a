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
select id, version, url, types, description, state, paused_reason, public_key, created_at from endpoint
where business_id = :business_id and id > :after_id::uuid
order by id limit :most;

-- name: read_endpoint
select id, version, url, types, description, state, paused_reason, public_key, created_at from endpoint
where business_id = :business_id and id = :id;

-- name: read_endpoint_for_update
-- Locked, because the courier may pause it meanwhile.
select id, version, url, types, description, state, paused_reason, public_key, created_at from endpoint
where business_id = :business_id and id = :id for update;

-- name: count_endpoints
select count(*) from endpoint where business_id = :business_id;

-- name: insert_endpoint
-- It gets what is told from now on: the log up to here counts as fanned out. Its keys make it the first version.
insert into endpoint (business_id, id, url, types, description, state, paused_reason, version, fanned_out_sequence,
                      created_at)
select :business_id, :id::uuid, :url::text, :types::text[], :description::text, :state::text, :paused_reason::text,
       0, c.value, :now::timestamptz
from counter c where c.business_id = :business_id and c.name = 'event';

-- name: update_endpoint
-- Another address or a resumed one is tried at once, whatever became of what was sent before.
update endpoint
set version = version + 1, url = :url, types = :types, description = :description, state = :state,
    paused_reason = :paused_reason,
    failures = case when :afresh::boolean then 0 else failures end,
    failing_since = case when not :afresh::boolean then failing_since end,
    next_try_at = case when not :afresh::boolean then next_try_at end
where business_id = :business_id and id = :id
returning id, version, url, types, description, state, paused_reason, public_key, created_at;

-- name: try_endpoint_now
-- An open circuit lets one delivery through at once: whoever asks for one has mended the receiver, or wants to know.
update endpoint set next_try_at = null
where business_id = :business_id and id = :id and next_try_at is not null;

-- name: read_health
-- What waits and what is dead is counted by the two partial indexes.
select e.state, e.paused_reason, e.failures, e.failing_since,
       case when e.state = 'active' and e.next_try_at > :now then e.next_try_at end as next_try_at,
       c.value - e.fanned_out_sequence as behind, w.waiting, v.time as waiting_since,
       (select count(*) from delivery d
        where d.business_id = :business_id and d.endpoint_id = e.id and d.state = 'dead') as dead
from endpoint e
join counter c on c.business_id = :business_id and c.name = 'event'
cross join lateral (
    select count(*) as waiting, min(d.sequence) as first from delivery d
    where d.business_id = :business_id and d.endpoint_id = e.id and d.state = 'waiting'
) w
left join event v on v.business_id = :business_id and v.sequence = w.first
where e.business_id = :business_id and e.id = :id;

-- name: hasten_deliveries
-- What waits for its next attempt is due at once, so many at a time; what is in the air already is not doubled.
with hastened as (
    update delivery set due_at = :now
    where ctid = any (array(
        select ctid from delivery
        where business_id = :business_id and endpoint_id = :endpoint_id and state = 'waiting' and not in_air
          and due_at > :now
        limit :most for no key update))
    returning 1
)
select count(*), pg_notify('setbook_event', :business_id::text) is null as woken from hastened;

-- name: show_new_key
-- Its keys have changed: the courier reads them anew for each version.
update endpoint set version = version + 1, public_key = :public_key where business_id = :business_id and id = :id;

-- name: insert_keys
insert into endpoint_key (business_id, endpoint_id, id, scheme, sealed, made_at)
select :business_id, :endpoint_id::uuid, k.id, k.scheme, k.sealed, :now::timestamptz
from unnest(:ids::uuid[], :schemes::text[], :sealed::bytea[]) as k (id, scheme, sealed);

-- name: list_secrets
-- The v1 secrets that sign at :now.
select id, sealed from endpoint_key
where business_id = :business_id and endpoint_id = :endpoint_id and scheme = 'v1'
  and (expires_at is null or expires_at > :now);

-- name: expire_keys
-- How many of a scheme still sign at :now, and go on till :until at the latest. Those that have ended are taken out.
with ended as (
    delete from endpoint_key
    where business_id = :business_id and endpoint_id = :endpoint_id and expires_at <= :now
), shortened as (
    update endpoint_key set expires_at = least(expires_at, :until::timestamptz)
    where business_id = :business_id and endpoint_id = :endpoint_id and (expires_at is null or expires_at > :now)
    returning scheme
)
select count(*) from shortened where scheme = 'v1';

-- name: delete_endpoint
delete from endpoint where business_id = :business_id and id = :id;

-- name: list_deliveries
-- Newest first. Of one event: a walk over the endpoint's deliveries, as in list_numbers_of_events. What is with a courier
-- or waits for a paused endpoint to be resumed has no time when it is tried next.
select d.deliverynumber::text as deliverynumber, lpad(d.sequence::text, 20, '0') as sequence, v.id as event_id,
       v.type as event_type, d.state, d.attempt,
       case when d.state = 'waiting' and not d.in_air and e.state = 'active'
            then greatest(d.due_at, e.next_try_at) end as due_at,
       d.last_attempt_at, d.last_status, d.last_error, d.last_duration_ms, d.delivered_at
from delivery d
join endpoint e on e.business_id = :business_id and e.id = d.endpoint_id
join event v on v.business_id = :business_id and v.sequence = d.sequence
where d.business_id = :business_id and d.endpoint_id = :endpoint_id
  and d.deliverynumber < :before_deliverynumber::bigint and d.state = any (:states::text[])
  and (:event_id::uuid is null
       or d.sequence = (select w.sequence from event w where w.business_id = :business_id and w.id = :event_id::uuid))
order by d.deliverynumber desc limit :most;

-- name: read_delivery
-- An answer need not be text; what is no UTF-8 in it is for the reader to replace.
select d.deliverynumber::text as deliverynumber, lpad(d.sequence::text, 20, '0') as sequence, v.id as event_id,
       v.type as event_type, d.state, d.attempt,
       case when d.state = 'waiting' and not d.in_air and e.state = 'active'
            then greatest(d.due_at, e.next_try_at) end as due_at,
       d.last_attempt_at, d.last_status, d.last_error, d.last_duration_ms, d.delivered_at, d.last_answer,
       convert_from(b.body, 'UTF8') as body
from delivery d
join endpoint e on e.business_id = :business_id and e.id = d.endpoint_id
join event v on v.business_id = :business_id and v.sequence = d.sequence
join delivery_body b on b.business_id = :business_id and b.endpoint_id = d.endpoint_id
    and b.deliverynumber = d.deliverynumber
where d.business_id = :business_id and d.endpoint_id = :endpoint_id and d.deliverynumber = :deliverynumber::bigint;

-- name: list_numbers_of_events
-- A walk over the endpoint's deliveries: who names events has some hundreds of them, and an index would cost each claim.
select v.id as event_id, d.deliverynumber
from event v join delivery d on d.business_id = :business_id and d.endpoint_id = :endpoint_id and d.sequence = v.sequence
where v.business_id = :business_id and v.id = any (:event_ids::uuid[]);

-- name: list_known_numbers
select deliverynumber from delivery
where business_id = :business_id and endpoint_id = :endpoint_id and deliverynumber = any (:deliverynumbers::bigint[]);

-- name: replay_deliveries
-- With numbers those, whatever became of them; without, those in the states given whose event lies in the range. What
-- is in the air is left there. A replay has the whole schedule before it. So many at once, those after a number first.
with chosen as (
    select d.deliverynumber from delivery d
    where d.business_id = :business_id and d.endpoint_id = :endpoint_id and not d.in_air
      and d.deliverynumber > :after_deliverynumber
      and (d.deliverynumber = any (:deliverynumbers::bigint[])
           or d.state = any (:states::text[])
              and exists (select from event v where v.business_id = :business_id and v.sequence = d.sequence
                          and v.time >= :since::timestamptz and v.time < :until::timestamptz))
    order by d.deliverynumber limit :most
    for no key update of d
), replayed as (
    update delivery d
    set state = 'waiting', due_at = :now::timestamptz, attempts_before = d.attempt, fence = d.fence + 1
    from chosen c
    where d.business_id = :business_id and d.endpoint_id = :endpoint_id and d.deliverynumber = c.deliverynumber
    returning d.deliverynumber
)
select count(*)::int as count, max(deliverynumber) as last, pg_notify('setbook_event', :business_id::text) is null as woken
from replayed;

-- name: fan_out
-- Spans businesses: the courier serves them all. An endpoint's row is locked while its deliveries are numbered,
-- so that the numbers have no gap; a second courier passes over it. A paused one is left where it stands. No more at
-- once than is done in a moment, and each endpoint gets its share of that, the least behind first: those that come back
-- with a long backlog keep nobody's news waiting. :failing asks for those that fail alone, or for the others; null for all.
-- The body is made here, once for all attempts. A :now that is null is the database's own: couriers whose clocks differ or
-- step agree on what is due. Its commit is not waited for on the disk: nothing is sent before the claim that follows,
-- whose commit takes this one with it, and numbers that a crash took are given again as they were.
with at as materialized (
    select coalesce(:now::timestamptz, now()) as now, set_config('synchronous_commit', 'off', true) as unhurried
), behind as materialized (
    select e.business_id, e.id, e.types, e.fanned_out_sequence, e.last_deliverynumber, c.value as latest
    from endpoint e join counter c on c.business_id = e.business_id and c.name = 'event'
    where e.state = 'active' and e.fanned_out_sequence < c.value and coalesce((e.failures > 0) = :failing::boolean, true)
    order by c.value - e.fanned_out_sequence
    limit :most_endpoints
    for update of e skip locked
), shared as materialized (
    select *, least(latest, fanned_out_sequence
                            + greatest(1, :most_events::bigint / (select count(*) from behind))) as upto from behind
), matching as (
    select b.business_id, b.id as endpoint_id, v.sequence, v as told,
           b.last_deliverynumber + row_number() over (partition by b.business_id, b.id order by v.sequence)
               as deliverynumber
    from shared b
    join event v on v.business_id = b.business_id and v.sequence > b.fanned_out_sequence and v.sequence <= b.upto
    where case when v.type = 'test.ping' then v.subject = b.id
          else cardinality(b.types) = 0
               or v.type = any (b.types) or split_part(v.type, '.', 1) || '.*' = any (b.types) end
), written as (
    insert into delivery (business_id, endpoint_id, deliverynumber, sequence, due_at)
    select business_id, endpoint_id, deliverynumber, sequence, (select now from at) from matching
    returning business_id, endpoint_id
), kept as (
    insert into delivery_body (business_id, endpoint_id, deliverynumber, event_id, body)
    select m.business_id, m.endpoint_id, m.deliverynumber, (m.told).id,
           webhook_body(m.told, m.deliverynumber, :public_url)
    from matching m
), moved as (
    update endpoint e
    set fanned_out_sequence = b.upto, last_deliverynumber = e.last_deliverynumber + coalesce(w.count, 0)
    from shared b left join (
        select business_id, endpoint_id, count(*) from written group by business_id, endpoint_id
    ) w on w.business_id = b.business_id and w.endpoint_id = b.id
    where e.business_id = b.business_id and e.id = b.id
    returning e.id
)
select count(*)::int as moved,
       count(*) = :most_endpoints or exists (select from shared where upto < latest) as is_behind
from moved, at;

-- name: claim_deliveries
-- Spans businesses: the courier serves them all. due_at is schedule, retry and lease at once: a claim moves it to
-- the end of the lease, so that a delivery whose courier died comes up again by itself. Each endpoint gives at
-- most its quota, less what this courier holds of it already, so that a slow receiver holds nobody else up; one whose
-- circuit is open gives nothing, and when it may be tried again it gives one. Those of which least is held come first,
-- wherever they lie in the table. What was locked is updated by its place: by its key, the planner would rather read the
-- whole table.
with at as materialized (
    select coalesce(:now::timestamptz, now()) as now
), taken as materialized (
    select d.*, e.version
    from (
        select e.business_id, e.id, e.version, coalesce(a.held, 0) as held,
               case when e.failures >= :failures_to_open then 1 else coalesce(a.quota, :first_quota::int) end as quota
        from endpoint e
        left join unnest(:endpoint_ids::uuid[], :quotas::int[], :held::int[]) as a (endpoint_id, quota, held)
            on a.endpoint_id = e.id
        where e.state = 'active' and coalesce(e.next_try_at <= (select now from at), true)
        order by coalesce(a.held, 0)
    ) e
    cross join lateral (
        select w.business_id, w.endpoint_id, w.deliverynumber, w.ctid as place from delivery w
        where w.business_id = e.business_id and w.endpoint_id = e.id and w.state = 'waiting'
          and w.due_at <= (select now from at)
        order by w.due_at
        limit greatest(0, e.quota - e.held)
        for update skip locked
    ) d
    limit :most
), claimed as (
    update delivery d
    set due_at = (select now from at) + :lease::interval, attempt = d.attempt + 1, fence = d.fence + 1, in_air = true
    where d.ctid = any (array(select place from taken))
    returning d.business_id, d.endpoint_id, d.deliverynumber, d.fence, d.attempt - d.attempts_before as tried
)
select c.business_id, c.endpoint_id, c.deliverynumber, c.fence, c.tried, k.version, b.event_id, b.body
from claimed c
join taken k on k.business_id = c.business_id and k.endpoint_id = c.endpoint_id and k.deliverynumber = c.deliverynumber
join delivery_body b on b.business_id = c.business_id and b.endpoint_id = c.endpoint_id
    and b.deliverynumber = c.deliverynumber
order by c.endpoint_id, c.deliverynumber;

-- name: list_keys_of_receivers
-- Spans businesses: the courier serves them all. Where the claimed deliveries go and what signs them, newest first.
select e.business_id, e.id as endpoint_id, e.version, e.url, k.id, k.scheme, k.sealed, k.expires_at
from endpoint e join endpoint_key k on k.business_id = e.business_id and k.endpoint_id = e.id
where e.id = any (:endpoint_ids::uuid[])
order by e.id, k.made_at desc, k.scheme;

-- name: settle_deliveries
-- Spans businesses: the courier serves them all. Fenced: whatever happens to a delivery raises its fence, so that the
-- word of a courier whose lease ran out and whose delivery was claimed again is void, and so is a word said twice. (With
-- `in_air` or the state beside it the planner walks all of a backlog for each row.)
-- An endpoint's circuit closes with what gets through; while nothing does it opens, and each time for half as long again
-- as it has failed for, within bounds. What an earlier version of it was sent, at another address, says nothing of this
-- one. Endpoints are locked in one order, and before their deliveries, as where one is taken out.
with at as materialized (select coalesce(:now::timestamptz, now()) as now), said as materialized (
    select * from json_to_recordset(:said::json)
        as s (business_id uuid, endpoint_id uuid, version int, deliverynumber bigint, fence int, state text,
              wait interval, sent_at timestamptz, status int, error text, duration_ms int, answer text,
              spread float8)
), locked as materialized (
    select e.business_id, e.id
    from endpoint e
    where e.id in (select endpoint_id from said) and (e.failures > 0
          or e.id not in (select endpoint_id from said where state = 'delivered'))
    order by e.business_id, e.id for no key update of e
), settled as (
    update delivery d
    set state = s.state, due_at = (select now from at) + s.wait, fence = d.fence + 1, in_air = false,
        last_attempt_at = s.sent_at, last_status = s.status, last_error = s.error, last_duration_ms = s.duration_ms,
        last_answer = decode(s.answer, 'base64'),
        delivered_at = case when s.state = 'delivered' then (select now from at) else d.delivered_at end
    from said s
    where d.business_id = s.business_id and d.endpoint_id = s.endpoint_id and d.deliverynumber = s.deliverynumber
      and d.fence = s.fence and (select count(*) from locked) >= 0
    returning d.business_id, d.endpoint_id, d.deliverynumber, d.state, s.version, s.spread
), counted as (
    select business_id, endpoint_id, version, array_agg(deliverynumber) as deliverynumbers,
           bool_or(state = 'delivered') as got_through, count(*)::int as tried,
           max(spread) as spread
    from settled group by business_id, endpoint_id, version
), circuit as (
    update endpoint e
    set failures = case when k.got_through then 0 else e.failures + k.tried end,
        failing_since = case when not k.got_through
            then coalesce(e.failing_since, (select now from at)) end,
        next_try_at = case when not k.got_through and e.failures + k.tried >= :failures_to_open
            then (select now from at) + k.spread * least(:longest_open::interval, greatest(
                :shortest_open::interval,
                ((select now from at) - coalesce(e.failing_since, (select now from at))) / 2))
            end
    from counted k join locked l on l.business_id = k.business_id and l.id = k.endpoint_id
    where e.business_id = k.business_id and e.id = k.endpoint_id and e.version = k.version
    returning e.business_id, e.id, e.failures, e.failing_since,
              (select now from at) - e.failing_since as failing_for
)
select c.business_id, c.endpoint_id, c.deliverynumbers, e.version, coalesce(o.failures, 0) as failures,
       o.failing_since, o.failing_for
from counted c
join endpoint e on e.business_id = c.business_id and e.id = c.endpoint_id
left join circuit o on o.business_id = c.business_id and o.id = c.endpoint_id and e.version = c.version;

-- name: hand_back_deliveries
-- Spans businesses: the courier serves them all. What was claimed and not sent is due as if it had not been claimed.
update delivery d
set due_at = coalesce(:now::timestamptz, now()), attempt = d.attempt - 1, fence = d.fence + 1, in_air = false
from unnest(:business_ids::uuid[], :endpoint_ids::uuid[], :deliverynumbers::bigint[], :fences::int[])
    as s (business_id, endpoint_id, deliverynumber, fence)
where d.business_id = s.business_id and d.endpoint_id = s.endpoint_id and d.deliverynumber = s.deliverynumber
  and d.fence = s.fence;

-- name: pause_endpoint
-- By the courier; once only, so that it is told once, and not where it was amended since the attempt was claimed.
update endpoint set state = 'paused', paused_reason = :reason, version = version + 1
where business_id = :business_id and id = :id and state = 'active' and version = :version
returning id;
