-- 0005: covers left on turf are lawn patches of a set, and a patch says what became of the turf.

alter table trap_set add column cover text check (cover in ('board', 'bucket', 'sheet'));
alter table trap_set add column cover_length_mm int;
alter table trap_set add column cover_width_mm int;
alter table trap_set add column cover_on_turf boolean;
alter table trap_check add column cover text check (cover in ('left', 'shifted', 'lifted_off'));

-- null while what digging it in opened is not known to be closed
alter table set_state add column opening_closed_at timestamptz;

alter table lawn_patch alter column sign_id drop not null;
alter table lawn_patch add column set_id uuid;
alter table lawn_patch add constraint lawn_patch_of_one_subject check ((sign_id is null) <> (set_id is null));
-- of the sign as stated, and how many of them were cleared; both null for a cover
alter table lawn_patch add column count int;
alter table lawn_patch add column cleared_count int;
alter table lawn_patch add column outcome text check (outcome in ('saved', 'lost', 'found_late'));
alter table lawn_patch add column repaired_at timestamptz;
create index lawn_patch_of_set on lawn_patch (business_id, set_id) where set_id is not null;
-- the month's figures, and lists by local date
create index lawn_patch_by_start on lawn_patch (business_id, property_id, started_at);

-- what is new in derived rows follows from the facts: each property is worked out anew
insert into work as w (business_id, kind, subject_id, first_at, run_at)
select p.business_id, 'property_anew', p.id, now(), now() from property p
on conflict (business_id, kind, subject_id) do update
set since_at = null, run_at = least(w.run_at, excluded.run_at), attempt = 0, last_error = null;
