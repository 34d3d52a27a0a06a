-- 0010: methods that a business classes itself, and which versions of records were billed.

create table method (
    business_id uuid not null references business,
    id uuid not null,
    version int not null default 1,
    name text not null,
    method_class text not null,
    ground text not null,
    received_at timestamptz not null,
    primary key (business_id, id)
);
select guard_table('method', false);

-- Beside the record, never inside: a billing system says which version it billed, once.
create table billed (
    business_id uuid not null,
    number text not null,
    version int not null,
    invoice_ref text not null,
    billed_on date,
    received_at timestamptz not null,
    key_id uuid not null,
    primary key (business_id, number, version),
    foreign key (business_id, number, version) references service_record
);
select guard_table('billed', false);
revoke update, delete on billed from :prefix_app;

-- the last arrival from a phone counts what it stated outside a visit too
create index stated_version_by_key on stated_version (business_id, key_id, received_at) where key_id is not null;

-- each record names the ground for its claim now, so each gets a further version
insert into work (business_id, kind, subject_id, first_at, run_at)
select distinct business_id, 'records_anew', property_id, now(), now() from service_record
on conflict do nothing;
