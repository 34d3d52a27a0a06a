-- 0001: the whole book. Run by the migrator role inside schema setbook; :prefix_app, :prefix_clock and
-- :prefix_courier are the roles of this database (see service/kernel/migrate.py).
-- Every table that holds a business's rows leads its primary key with business_id, so that a row cannot
-- point across businesses and the tables can later be distributed by that column.

-- What spans businesses: one row that tells a restored or moved database from the one a cursor was made on.
create table installation (
    only_row boolean primary key default true check (only_row),
    epoch uuid not null,
    system_identifier text not null,
    database_oid bigint not null
);

-- Identity -----------------------------------------------------------------------------------------------
create table business (
    business_id uuid primary key,
    version int not null default 1,
    name text not null,
    zone text not null,
    currency text not null default 'USD' check (currency ~ '^[A-Z]{3}$'),
    licences jsonb not null default '[]',
    issue text not null default 'by_office' check (issue in ('on_receipt', 'after_hold', 'by_office')),
    hold_hours int not null default 24 check (hold_hours between 0 and 720),
    -- dated list, see service/deadlines/models.py HousePolicy
    house_policies jsonb not null default '[{"calendar_days": 1}]',
    created_at timestamptz not null,
    received_at timestamptz not null
);

create table worker (
    business_id uuid not null references business,
    id uuid not null,
    version int not null default 1,
    name text not null,
    licences jsonb not null default '[]',
    active boolean not null default true,
    received_at timestamptz not null,
    primary key (business_id, id)
);

create table api_key (
    business_id uuid not null references business,
    id uuid not null,
    name text not null,
    worker_id uuid,
    scopes text[] not null,
    hash bytea not null,
    last_four text not null,
    created_at timestamptz not null,
    expires_at timestamptz,
    revoked_at timestamptz,
    primary key (business_id, id),
    foreign key (business_id, worker_id) references worker
);
-- a request brings the key's id only; key_row() below finds the business by it
create unique index api_key_id on api_key (id);

-- History of every stated noun but the visit, which keeps its own.
create table stated_version (
    business_id uuid not null references business,
    noun text not null,
    id uuid not null,
    version int not null,
    -- null where this version is the withdrawal
    body jsonb,
    received_at timestamptz not null,
    key_id uuid,
    primary key (business_id, noun, id, version)
);

-- Stated things --------------------------------------------------------------------------------------------
create table customer (
    business_id uuid not null references business,
    id uuid not null,
    version int not null default 1,
    name text not null,
    ref text,
    email text,
    phone text,
    addresses jsonb not null default '[]',
    received_at timestamptz not null,
    primary key (business_id, id)
);

create table property (
    business_id uuid not null references business,
    id uuid not null,
    version int not null default 1,
    name text not null,
    ref text,
    kind text not null,
    zone text not null,
    region text not null,
    county text,
    address text,
    access_notes text,
    boundary jsonb,
    position jsonb,
    hazards text[] not null default '{}',
    received_at timestamptz not null,
    primary key (business_id, id)
);

create table feature (
    business_id uuid not null,
    id uuid not null,
    version int not null default 1,
    property_id uuid not null,
    name text not null,
    kind text not null,
    geometry jsonb,
    received_at timestamptz not null,
    primary key (business_id, id),
    foreign key (business_id, property_id) references property
);
create index feature_of_property on feature (business_id, property_id);

-- Whose property it was when: half-open, from_on inclusive.
create table tenure (
    business_id uuid not null,
    id uuid not null,
    version int not null default 1,
    property_id uuid not null,
    customer_id uuid not null,
    from_on date not null,
    until_on date check (until_on > from_on),
    received_at timestamptz not null,
    primary key (business_id, id),
    foreign key (business_id, property_id) references property,
    foreign key (business_id, customer_id) references customer
);
create index tenure_of_property on tenure (business_id, property_id);

create table permit (
    business_id uuid not null references business,
    id uuid not null,
    version int not null default 1,
    number text not null,
    authority text not null,
    region text not null,
    species text[] not null default '{}',
    mechanisms text[] not null default '{}',
    quota int,
    from_on date not null,
    until_on date check (until_on > from_on),
    report_due_on date,
    received_at timestamptz not null,
    primary key (business_id, id)
);

create table job (
    business_id uuid not null,
    id uuid not null,
    version int not null default 1,
    property_id uuid not null,
    target text not null,
    opened_at timestamptz not null,
    closed_at timestamptz check (closed_at >= opened_at),
    end_reason text,
    callback_of_job_id uuid,
    permit_id uuid,
    locate_ticket jsonb,
    ref text,
    received_at timestamptz not null,
    primary key (business_id, id),
    foreign key (business_id, property_id) references property,
    foreign key (business_id, permit_id) references permit,
    check ((closed_at is null) = (end_reason is null))
);
create index job_of_property on job (business_id, property_id);

-- Visits and their facts -----------------------------------------------------------------------------------
-- No foreign key from a fact to a fact of another visit, nor to a job: facts come in any order.
create table visit (
    business_id uuid not null,
    id uuid not null,
    property_id uuid not null,
    job_id uuid,
    worker_id uuid not null,
    with_worker_ids uuid[] not null default '{}',
    appointment_id uuid,
    arrived_at timestamptz not null,
    left_at timestamptz,
    -- left_at, else the latest instant in the visit
    ended_at timestamptz not null,
    outcome text not null default 'done',
    no_access_reason text,
    notes text,
    customer_note text,
    treatments_none boolean not null default false,
    version int not null,
    digest bytea not null,
    first_received_at timestamptz not null,
    received_at timestamptz not null,
    key_id uuid not null,
    withdrawn_at timestamptz,
    primary key (business_id, id),
    foreign key (business_id, property_id) references property,
    foreign key (business_id, worker_id) references worker
);
-- previous and next visit at a property; the visits of a period
create index visit_of_property on visit (business_id, property_id, arrived_at, id) where withdrawn_at is null;
create index visit_by_job on visit (business_id, job_id) where job_id is not null;
create index visit_by_arrival on visit (business_id, arrived_at, id);

create table visit_version (
    business_id uuid not null,
    visit_id uuid not null,
    version int not null,
    -- RFC 8785 form as compared; null where this version is the withdrawal
    body text,
    digest bytea,
    amend_reason text,
    received_at timestamptz not null,
    key_id uuid not null,
    primary key (business_id, visit_id, version),
    foreign key (business_id, visit_id) references visit
);
-- the last arrival from a phone: how complete the book was when a record was issued
create index visit_version_by_key on visit_version (business_id, key_id, received_at);

create table refusal (
    business_id uuid not null references business,
    id uuid not null,
    claimed_id uuid,
    sha256 bytea not null,
    body bytea not null,
    status int not null,
    problem jsonb not null,
    property_id uuid,
    key_id uuid,
    received_at timestamptz not null,
    accepted_at timestamptz,
    accepted_visit_id uuid,
    primary key (business_id, id)
);
-- the same bytes under the same id are one row, and are found again once accepted
create unique index refusal_bytes on refusal (business_id, claimed_id, sha256) nulls not distinct;
create index refusal_of_property on refusal (business_id, property_id) where accepted_at is null;

-- A nested id belongs to one owner (a visit, or the stand-alone fact itself) for ever.
create table fact_owner (
    business_id uuid not null references business,
    id uuid not null,
    owner_id uuid not null,
    primary key (business_id, id)
);

create table survey (
    business_id uuid not null,
    id uuid not null,
    visit_id uuid not null,
    property_id uuid not null,
    surveyed_at timestamptz not null,
    feature_id uuid,
    area jsonb,
    fresh_signs int not null,
    primary key (business_id, id),
    foreign key (business_id, visit_id) references visit
);
create index survey_of_property on survey (business_id, property_id, surveyed_at);

create table sign (
    business_id uuid not null,
    id uuid not null,
    visit_id uuid not null,
    property_id uuid not null,
    kind text not null,
    seen_at timestamptz not null,
    absent_since timestamptz,
    told_by text,
    count int,
    freshness text,
    geometry jsonb,
    feature_id uuid,
    on_turf boolean not null,
    length_mm int,
    width_mm int,
    height_mm int,
    shape text,
    plug text,
    soil text,
    hole_width_mm int,
    seen_by_day boolean,
    photo_ids uuid[] not null default '{}',
    primary key (business_id, id),
    foreign key (business_id, visit_id) references visit
);
create index sign_of_property on sign (business_id, property_id, seen_at);

create table tamping (
    business_id uuid not null,
    id uuid not null,
    visit_id uuid not null,
    property_id uuid not null,
    sign_id uuid not null,
    tamped_at timestamptz not null,
    geometry jsonb,
    primary key (business_id, id),
    foreign key (business_id, visit_id) references visit
);
create index tamping_of_sign on tamping (business_id, sign_id);

create table look (
    business_id uuid not null,
    id uuid not null,
    visit_id uuid not null,
    property_id uuid not null,
    sign_id uuid not null,
    looked_at timestamptz not null,
    raised_again boolean,
    fresh_soil boolean,
    turf text,
    photo_ids uuid[] not null default '{}',
    primary key (business_id, id),
    foreign key (business_id, visit_id) references visit
);
create index look_of_sign on look (business_id, sign_id);

create table trap_set (
    business_id uuid not null,
    id uuid not null,
    visit_id uuid not null,
    property_id uuid not null,
    sign_id uuid,
    moved_from_set_id uuid,
    placed_at timestamptz not null,
    target text,
    position jsonb,
    mechanism text not null,
    traps jsonb not null,
    depth_mm int,
    light_kept_out boolean,
    trigger_travel_mm int,
    flagged boolean,
    foot_traffic text,
    opening_length_mm int,
    opening_width_mm int,
    opening_on_turf boolean,
    photo_ids uuid[] not null default '{}',
    primary key (business_id, id),
    foreign key (business_id, visit_id) references visit
);
create index trap_set_moved_from on trap_set (business_id, moved_from_set_id) where moved_from_set_id is not null;
-- what names a sign that is still awaited
create index trap_set_of_sign on trap_set (business_id, sign_id) where sign_id is not null;

create table trap_check (
    business_id uuid not null,
    id uuid not null,
    visit_id uuid not null,
    property_id uuid not null,
    set_id uuid not null,
    checked_at timestamptz not null,
    checked_by text not null default 'worker',
    finding text not null,
    traps jsonb not null default '[]',
    ground_searched boolean,
    action text not null,
    flagged boolean,
    opening_closed boolean,
    primary key (business_id, id),
    foreign key (business_id, visit_id) references visit
);
create index trap_check_of_set on trap_check (business_id, set_id, checked_at);

create table catch (
    business_id uuid not null,
    id uuid not null,
    visit_id uuid not null,
    property_id uuid not null,
    -- both null where it was found or taken without a check
    check_id uuid,
    set_id uuid,
    trap_no int,
    caught_at timestamptz not null,
    method text,
    species text not null,
    sex text,
    age_class text,
    mass_g int,
    fate text not null,
    photo_ids uuid[] not null default '{}',
    primary key (business_id, id),
    foreign key (business_id, visit_id) references visit,
    check ((check_id is null) = (set_id is null))
);
create index catch_by_time on catch (business_id, caught_at, id);
create index catch_of_property on catch (business_id, property_id, caught_at);

create table clearing (
    business_id uuid not null,
    id uuid not null,
    visit_id uuid not null,
    property_id uuid not null,
    sign_id uuid not null,
    cleared_at timestamptz not null,
    count int,
    how text,
    cleared_by text not null default 'us',
    primary key (business_id, id),
    foreign key (business_id, visit_id) references visit
);
create index clearing_of_sign on clearing (business_id, sign_id);

create table repair (
    business_id uuid not null,
    id uuid not null,
    visit_id uuid not null,
    property_id uuid not null,
    sign_id uuid,
    set_id uuid,
    repaired_at timestamptz not null,
    how text not null,
    area_m2 numeric not null,
    seed_treated boolean,
    primary key (business_id, id),
    foreign key (business_id, visit_id) references visit
);
create index repair_of_sign on repair (business_id, sign_id) where sign_id is not null;
create index repair_of_set on repair (business_id, set_id) where set_id is not null;
-- treated seed breaks the claim of a record's period
create index repair_treated on repair (business_id, property_id, repaired_at) where seed_treated;

-- Stand-alone upkeep, treatments and incidents have no visit, and a version of their own.
create table upkeep (
    business_id uuid not null,
    id uuid not null,
    visit_id uuid,
    property_id uuid not null,
    kind text not null,
    at timestamptz not null,
    feature_id uuid,
    told_by text,
    version int,
    received_at timestamptz not null,
    primary key (business_id, id),
    foreign key (business_id, visit_id) references visit,
    foreign key (business_id, property_id) references property,
    check ((visit_id is null) = (version is not null))
);
create index upkeep_of_property on upkeep (business_id, property_id, at);

create table treatment (
    business_id uuid not null,
    id uuid not null,
    visit_id uuid,
    property_id uuid not null,
    method text not null,
    product text,
    registration text,
    amount numeric,
    unit text,
    applied_at timestamptz not null,
    applied_by text not null,
    told_by text,
    feature_id uuid,
    version int,
    received_at timestamptz not null,
    primary key (business_id, id),
    foreign key (business_id, visit_id) references visit,
    foreign key (business_id, property_id) references property,
    check ((visit_id is null) = (version is not null))
);
create index treatment_of_property on treatment (business_id, property_id, applied_at);

create table told (
    business_id uuid not null,
    id uuid not null,
    visit_id uuid not null,
    property_id uuid not null,
    who text not null,
    how text not null,
    at timestamptz not null,
    what text not null,
    primary key (business_id, id),
    foreign key (business_id, visit_id) references visit
);

create table incident (
    business_id uuid not null,
    id uuid not null,
    version int not null default 1,
    property_id uuid not null,
    visit_id uuid,
    kind text not null,
    happened_at timestamptz not null,
    closed_at timestamptz,
    description text not null,
    measures text,
    received_at timestamptz not null,
    primary key (business_id, id),
    foreign key (business_id, property_id) references property
);
create index incident_by_time on incident (business_id, happened_at, id);

-- one index a list: facts of a visit are taken out and put in again when it is amended
create index survey_of_visit on survey (business_id, visit_id);
create index sign_of_visit on sign (business_id, visit_id);
create index tamping_of_visit on tamping (business_id, visit_id);
create index look_of_visit on look (business_id, visit_id);
create index trap_set_of_visit on trap_set (business_id, visit_id);
create index trap_check_of_visit on trap_check (business_id, visit_id);
create index catch_of_visit on catch (business_id, visit_id);
create index clearing_of_visit on clearing (business_id, visit_id);
create index repair_of_visit on repair (business_id, visit_id);
create index upkeep_of_visit on upkeep (business_id, visit_id);
create index treatment_of_visit on treatment (business_id, visit_id);
create index told_of_visit on told (business_id, visit_id);

-- Derived things: functions of the facts above, worked out again by the visit that touches them -----------
create table set_state (
    business_id uuid not null references business,
    set_id uuid not null,
    property_id uuid not null,
    -- awaited: checks are known, the placing is not
    state text not null check (state in ('awaited', 'standing', 'made_safe', 'missing', 'pulled', 'moved', 'lost')),
    fishing boolean not null,
    placed_at timestamptz,
    ended_at timestamptz,
    last_looked_at timestamptz,
    last_finding text,
    moved_to_set_id uuid,
    looks int not null,
    catches int not null,
    trap_half_nights int not null,
    primary key (business_id, set_id)
);
create index set_state_of_property on set_state (business_id, property_id, state);

create table sign_state (
    business_id uuid not null references business,
    sign_id uuid not null,
    property_id uuid not null,
    state text not null check (state in ('awaited', 'lying', 'cleared')),
    -- raised again after tamping: in use; null where nobody tamped or looked
    in_use boolean,
    cleared_count int not null,
    cleared_at timestamptz,
    turf text,
    primary key (business_id, sign_id)
);
create index sign_state_of_property on sign_state (business_id, property_id, state);

-- One row a start of the lawn clock: the sign, or a look that found fresh soil after a clearing.
create table lawn_patch (
    business_id uuid not null references business,
    id uuid not null,
    sign_id uuid not null,
    starting_fact_id uuid not null,
    property_id uuid not null,
    started_at timestamptz not null,
    earliest_at timestamptz,
    earliest_from text not null,
    due_at timestamptz not null,
    cleared_at timestamptz,
    verdict text not null check (verdict in ('in_time', 'late', 'found_late', 'still_lying')),
    turf text,
    area_m2 numeric,
    primary key (business_id, id)
);
create index lawn_patch_of_sign on lawn_patch (business_id, sign_id);
create index lawn_patch_of_property on lawn_patch (business_id, property_id, due_at);

create table conflict (
    business_id uuid not null references business,
    id uuid not null,
    kind text not null,
    -- what it is about, and what was worked out when it was found: kind of subject and subject
    noun text not null,
    subject_id uuid not null,
    property_id uuid,
    visit_id uuid,
    fact_id uuid,
    sentence text not null,
    primary key (business_id, id)
);
create index conflict_of_subject on conflict (business_id, noun, subject_id);
create index conflict_of_visit on conflict (business_id, visit_id);

create table deadline (
    business_id uuid not null references business,
    id uuid not null,
    kind text not null check (kind in ('check', 'set_search', 'run_look', 'lawn', 'lawn_followup', 'report')),
    subject_id uuid not null,
    starting_fact_id uuid not null,
    property_id uuid not null,
    started_at timestamptz not null,
    due_at timestamptz not null,
    state text not null check (state in ('open', 'met', 'late', 'withdrawn')),
    met_at timestamptz,
    met_by_fact_id uuid,
    -- check, run_look: the state; lawn: the verdict; null while open
    outcome text,
    why jsonb not null,
    -- the clock's memory: written by the deadlines slice and by its ticks
    known_at timestamptz not null,
    known_by_worker_id uuid,
    known_by_key_id uuid,
    episode int not null default 1,
    announced_due_at timestamptz,
    announced_event_id uuid,
    settled_outcome text,
    settled_event_id uuid,
    -- what the clock says next, and when; both null where it has nothing to say
    wake_at timestamptz,
    wake_type text,
    primary key (business_id, id),
    check ((wake_at is null) = (wake_type is null))
);
create index deadline_of_subject on deadline (business_id, subject_id);
create index deadline_open_of_property on deadline (business_id, property_id) where state = 'open';
create index deadline_by_due on deadline (business_id, due_at, id);
-- the clock's tick reads from the head of this one: a row leaves it when it has been said
create index deadline_wake on deadline (wake_at) where wake_at is not null;
-- the settling time moves with every visit of the same worker or key
create index deadline_settling_worker on deadline (business_id, known_by_worker_id) where wake_at is not null and known_at > due_at;
create index deadline_settling_key on deadline (business_id, known_by_key_id) where wake_at is not null and known_at > due_at;

-- What is to be done later, once per subject: claimed as clock, done as app. run_at is schedule, lease and retry.
create table work (
    business_id uuid not null references business,
    kind text not null,
    subject_id uuid not null,
    since_at timestamptz,
    first_at timestamptz not null,
    run_at timestamptz not null,
    attempt int not null default 0,
    last_error text,
    primary key (business_id, kind, subject_id)
);
create index work_due on work (run_at);

-- Told things ----------------------------------------------------------------------------------------------
-- name: 'event' for the log, 'record/2026' for the numbers of a year; the event row is always locked last.
create table counter (
    business_id uuid not null references business,
    name text not null,
    value bigint not null,
    primary key (business_id, name)
);

create table event (
    business_id uuid not null references business,
    sequence bigint not null,
    id uuid not null,
    type text not null,
    subject uuid,
    time timestamptz not null,
    data json not null,
    -- what makes it once per cause; null where the transaction of the fact itself is the cause
    cause text,
    primary key (business_id, sequence)
);
create unique index event_id on event (business_id, id);
create unique index event_cause on event (business_id, cause) where cause is not null;

create table endpoint (
    business_id uuid not null references business,
    id uuid not null,
    version int not null default 1,
    url text not null,
    types text[] not null default '{}',
    description text,
    state text not null default 'active' check (state in ('active', 'paused')),
    paused_reason text,
    secret_sealed bytea not null,
    fanned_out_sequence bigint not null,
    last_deliverynumber bigint not null default 0,
    created_at timestamptz not null,
    primary key (business_id, id)
);

create table delivery (
    business_id uuid not null,
    endpoint_id uuid not null,
    deliverynumber bigint not null,
    sequence bigint not null,
    state text not null default 'waiting' check (state in ('waiting', 'delivered', 'dead')),
    -- schedule, retry and lease at once
    due_at timestamptz not null,
    attempt int not null default 0,
    last_status int,
    last_error text,
    last_duration_ms int,
    delivered_at timestamptz,
    primary key (business_id, endpoint_id, deliverynumber),
    foreign key (business_id, endpoint_id) references endpoint on delete cascade,
    foreign key (business_id, sequence) references event
);
-- the courier's claim looks into each active endpoint's own waiting list
create index delivery_waiting on delivery (business_id, endpoint_id, due_at) where state = 'waiting';

-- Issued things --------------------------------------------------------------------------------------------
create table service_record (
    business_id uuid not null references business,
    number text not null check (number ~ '^[0-9]{4}-[0-9]{6}$'),
    version int not null,
    visit_id uuid not null,
    property_id uuid not null,
    customer_id uuid,
    -- local date of arrival at the property: the month it belongs to
    service_on date not null,
    issued_at timestamptz not null,
    -- the event that told of it: the order in which a puller sees records
    sequence bigint not null,
    pesticide_free_by_us boolean not null,
    pesticide_known_at_property boolean not null,
    withdrawn boolean not null default false,
    -- RFC 8785 bytes, as issued, and the digest of the part that decides whether a new version is due
    bytes text not null,
    sha256 bytea not null,
    content_sha256 bytea not null,
    party jsonb not null,
    primary key (business_id, number, version)
);
create unique index service_record_of_visit on service_record (business_id, visit_id, version);
create unique index service_record_order on service_record (business_id, sequence);
create index service_record_by_date on service_record (business_id, service_on, number, version);

-- A job's visits: the stated job, else the only one whose interval holds the arrival, else none.
create view visit_job with (security_invoker = true) as
select v.business_id, v.id as visit_id,
       coalesce(v.job_id, (
           select case when count(*) = 1 then (array_agg(j.id))[1] end
           from job j
           where j.business_id = v.business_id and j.property_id = v.property_id
             and j.opened_at <= v.arrived_at and (j.closed_at is null or v.arrived_at < j.closed_at)
       )) as job_id
from visit v;

-- Roles ----------------------------------------------------------------------------------------------------
-- The key's id is all a request brings, so this one look-up spans businesses.
create function key_row(key_id uuid)
returns table (business_id uuid, id uuid, worker_id uuid, scopes text[], hash bytea, expires_at timestamptz, revoked_at timestamptz)
language sql stable security definer rows 1 set search_path = setbook, pg_temp
as $$ select k.business_id, k.id, k.worker_id, k.scopes, k.hash, k.expires_at, k.revoked_at from api_key k where k.id = key_id $$;
revoke all on function key_row(uuid) from public;
grant execute on function key_row(uuid) to :prefix_app;

do $$
declare
    named text;
    shared constant text[] := array['deadline', 'event', 'endpoint', 'delivery', 'counter', 'work'];
begin
    for named in
        select c.relname from pg_class c join pg_attribute a on a.attrelid = c.oid and a.attname = 'business_id'
        where c.relnamespace = 'setbook'::regnamespace and c.relkind = 'r' order by 1
    loop
        execute format('alter table %I enable row level security', named);
        execute format('alter table %I force row level security', named);
        -- coalesce keeps the planner from merging the policy with the key's own predicate, and leaves it an estimate
        -- of half the rows; "is true" was taken for one row, and lists of a large business read all of it
        execute format('create policy own_business on %I to :prefix_app
            using (coalesce(business_id = nullif(current_setting(''setbook.business_id'', true), '''')::uuid, false))
            with check (coalesce(business_id = nullif(current_setting(''setbook.business_id'', true), '''')::uuid, false))', named);
        execute format('grant select, insert, update, delete on %I to :prefix_app', named);
        if named = any (shared) then
            execute format('create policy every_business on %I to :prefix_clock, :prefix_courier using (true) with check (true)', named);
        end if;
    end loop;
end $$;

-- issued and told things are never rewritten
revoke update, delete on event, visit_version, stated_version, fact_owner from :prefix_app;
revoke delete on service_record, deadline, visit, counter from :prefix_app;

grant usage on schema setbook to :prefix_app, :prefix_clock, :prefix_courier;
grant select on installation to :prefix_app, :prefix_clock, :prefix_courier;
grant select on visit_job to :prefix_app;
grant select, update on deadline to :prefix_clock;
grant select, insert on event to :prefix_clock, :prefix_courier;
grant select, update on counter to :prefix_clock, :prefix_courier;
grant select, update, delete on work to :prefix_clock;
grant select, update on endpoint to :prefix_courier;
grant select, insert, update on delivery to :prefix_courier;
