-- 0006: the courier: the keys of an endpoint, its circuit, and what a delivery keeps.

-- A key signs until it expires; the newest of each scheme has no end. While a secret rotates several of them sign.
create table endpoint_key (
    business_id uuid not null,
    endpoint_id uuid not null,
    id uuid not null,
    scheme text not null check (scheme in ('v1', 'v1a')),
    sealed bytea not null,
    made_at timestamptz not null,
    expires_at timestamptz,
    primary key (business_id, endpoint_id, id),
    foreign key (business_id, endpoint_id) references endpoint on delete cascade
);
select guard_table('endpoint_key', true);
grant select on endpoint_key to :prefix_courier;

-- the one secret that an endpoint had; it signs by v1 alone until it is rotated
insert into endpoint_key (business_id, endpoint_id, id, scheme, sealed, made_at)
select business_id, id, id, 'v1', secret_sealed, created_at from endpoint;

alter table endpoint
    drop column secret_sealed,
    -- of the newest v1a key, as it is shown: whpk_...
    add column public_key text,
    -- attempts that failed since the last one that got through, and since when
    add column failures int not null default 0,
    add column failing_since timestamptz,
    -- the circuit: while this lies ahead nothing is sent
    add column next_try_at timestamptz;

alter table delivery
    -- claimed and not settled; where the lease has run out, its courier is dead
    add column in_air boolean not null default false,
    -- attempts that a replay no longer counts
    add column attempts_before int not null default 0,
    add column last_attempt_at timestamptz,
    -- the first 4 KiB of what the receiver answered last
    add column last_answer bytea;
-- dead letters are listed and replayed
create index delivery_dead on delivery (business_id, endpoint_id, deliverynumber) where state = 'dead';

-- The exact bytes that a delivery sends at every attempt, made when it got its number. A row of their own: claims and
-- settlements write the delivery's row anew, and need not copy a body each time.
create table delivery_body (
    business_id uuid not null,
    endpoint_id uuid not null,
    deliverynumber bigint not null,
    event_id uuid not null,
    body bytea not null,
    primary key (business_id, endpoint_id, deliverynumber),
    foreign key (business_id, endpoint_id, deliverynumber) references delivery on delete cascade
);
select guard_table('delivery_body', true);
revoke insert, update, delete on delivery_body from :prefix_app;
grant select, insert on delivery_body to :prefix_courier;

-- The body of a webhook: service/events/envelope.py with a delivery number, byte for byte. Without a public URL it names
-- no schema, which CloudEvents leaves open.
create function webhook_body(told event, deliverynumber bigint, public_url text) returns bytea
language sql stable as $$
    select convert_to(
        '{"specversion":"1.0","id":"' || told.id || '","source":"/v1/businesses/' || told.business_id
        || '","type":"' || told.type || '","time":"'
        || replace(to_char(told.time at time zone 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"'), '.000000Z', 'Z') || '"'
        || coalesce(',"subject":"' || told.subject || '"', '')
        || ',"datacontenttype":"application/json"'
        || coalesce(',"dataschema":' || to_json(public_url || '/schema/v1/' || told.type || '.json'), '')
        || ',"businessid":"' || told.business_id || '","sequence":"' || lpad(told.sequence::text, 20, '0')
        || '","deliverynumber":"' || deliverynumber || '","data":' || told.data || '}', 'UTF8')
$$;

-- what was numbered before
insert into delivery_body (business_id, endpoint_id, deliverynumber, event_id, body)
select d.business_id, d.endpoint_id, d.deliverynumber, v.id, webhook_body(v, d.deliverynumber, null)
from delivery d join event v on v.business_id = d.business_id and v.sequence = d.sequence;
