-- 0002: rule packs of a business, house policies with an end, towns, and what else deadlines are worked out by.

-- Guards a table that holds a business's rows, in the words of 0001: every migration that makes one calls it.
create function guard_table(named text, is_shared boolean default false) returns void language plpgsql as $$
begin
    execute format('alter table %I enable row level security', named);
    execute format('alter table %I force row level security', named);
    execute format('create policy own_business on %I to :prefix_app
        using (coalesce(business_id = nullif(current_setting(''setbook.business_id'', true), '''')::uuid, false))
        with check (coalesce(business_id = nullif(current_setting(''setbook.business_id'', true), '''')::uuid, false))', named);
    execute format('grant select, insert, update, delete on %I to :prefix_app', named);
    if is_shared then
        execute format('create policy every_business on %I to :prefix_clock, :prefix_courier using (true) with check (true)', named);
    end if;
end $$;
revoke all on function guard_table(text, boolean) from public;

create table rule_pack (
    business_id uuid not null references business,
    id uuid not null,
    version int not null default 1,
    name text not null,
    region text not null,
    sub_areas text[] not null default '{}',
    places text[] not null default '{}',
    authority text not null,
    citation text not null,
    text_as_of text,
    verified_on date not null,
    reviewed_by text,
    state text not null check (state in ('law', 'caution', 'practice')),
    effective_from date,
    effective_until date check (effective_until > effective_from),
    rules jsonb not null,
    received_at timestamptz not null,
    primary key (business_id, id)
);
select guard_table('rule_pack');

alter table property add column locality text;

-- a report is a permit's, and a permit stands at no property; a cover left on turf is a set's
alter table deadline alter column property_id drop not null;
alter table deadline drop constraint deadline_kind_check;
alter table deadline add constraint deadline_kind_check
    check (kind in ('check', 'set_search', 'run_look', 'lawn', 'lawn_cover', 'lawn_followup', 'report'));

-- what every deadline was last worked out by: the zone database and the packs of the package
alter table installation add column rules_digest text;
