-- name: put_work
-- One row a subject. Put again before it is done: it goes as far back as either asks. With a settling time a later
-- put moves the row on, until that long after the first one; without, the earlier instant stays. attempt 0 makes
-- the word of a runner that holds a lease void, so that what is new now is not taken for done.
insert into work as w (business_id, kind, subject_id, since_at, first_at, run_at)
values (:business_id, :kind, :subject_id, :since_at, :now, :run_at)
on conflict (business_id, kind, subject_id) do update
set since_at = case when w.since_at is not null and excluded.since_at is not null
                    then least(w.since_at, excluded.since_at) end,
    run_at = case when :settle::interval is null then least(w.run_at, excluded.run_at)
                  else least(excluded.run_at, w.first_at + :settle::interval) end,
    attempt = 0, last_error = null
where w.business_id = :business_id;

-- name: put_every_property
insert into work as w (business_id, kind, subject_id, first_at, run_at)
select p.business_id, :kind, p.id, :now, :now from property p where p.business_id = :business_id
on conflict (business_id, kind, subject_id) do update
set since_at = null, run_at = least(w.run_at, excluded.run_at), attempt = 0, last_error = null
where w.business_id = :business_id;

-- name: put_properties_in
-- Each property in one of the regions or a part of it; how many there are.
with put as (
    insert into work as w (business_id, kind, subject_id, first_at, run_at)
    select p.business_id, :kind, p.id, :now, :now from property p
    where p.business_id = :business_id
      and exists (select from unnest(:regions::text[]) r where p.region = r or starts_with(p.region, r || '-'))
    on conflict (business_id, kind, subject_id) do update
    set since_at = null, run_at = least(w.run_at, excluded.run_at), attempt = 0, last_error = null
    where w.business_id = :business_id
    returning w.subject_id
)
select count(*) from put;

-- name: put_everything_of_all
-- Spans businesses, as the migrator: rules that hold for all of them changed. How many properties there are.
with put as (
    insert into work as w (business_id, kind, subject_id, first_at, run_at)
    select p.business_id, :of_property::text, p.id, :now::timestamptz, :now::timestamptz from property p
    union all
    select m.business_id, :of_permit::text, m.id, :now::timestamptz, :now::timestamptz from permit m
    on conflict (business_id, kind, subject_id) do update
    set since_at = null, run_at = least(w.run_at, excluded.run_at), attempt = 0, last_error = null
    returning w.kind
)
select count(*) filter (where kind = :of_property::text) from put;

-- name: put_every_permit
insert into work as w (business_id, kind, subject_id, first_at, run_at)
select p.business_id, :kind, p.id, :now, :now from permit p where p.business_id = :business_id
on conflict (business_id, kind, subject_id) do update
set since_at = null, run_at = least(w.run_at, excluded.run_at), attempt = 0, last_error = null
where w.business_id = :business_id;

-- name: put_first_record
-- The record of a visit that has none yet, as the business has set it: on receipt, or when the hold is over.
insert into work as w (business_id, kind, subject_id, first_at, run_at)
select v.business_id, :kind, v.id, :now,
       case b.issue when 'on_receipt' then :now else v.first_received_at + make_interval(hours => b.hold_hours) end
from visit v
join business b on b.business_id = :business_id
where v.business_id = :business_id and v.id = :visit_id and v.withdrawn_at is null and b.issue <> 'by_office'
  and not exists (select from service_record r where r.business_id = :business_id and r.visit_id = :visit_id)
on conflict (business_id, kind, subject_id) do update
set run_at = least(w.run_at, excluded.run_at), attempt = 0, last_error = null
where w.business_id = :business_id;

-- name: put_sealed_months
-- Each sealed month in which some version of the record has its day of service.
insert into work as w (business_id, kind, subject_id, first_at, run_at)
select distinct m.business_id, :kind, m.month_id, :now::timestamptz, :now::timestamptz
from service_record r
join month_seal m on m.business_id = :business_id and m.month = date_trunc('month', r.service_on)::date
where r.business_id = :business_id and r.number = :number
on conflict (business_id, kind, subject_id) do update
set run_at = least(w.run_at, excluded.run_at), attempt = 0, last_error = null
where w.business_id = :business_id;

-- name: claim_due
-- Spans businesses, as the clock: run_at is schedule, lease and retry at once, so a crash heals itself.
with due as (
    select w.business_id, w.kind, w.subject_id from work w
    where w.run_at <= :now and w.kind = any (:kinds::text[])
    order by w.run_at
    limit :most
    for update skip locked
)
update work w set run_at = :now::timestamptz + :lease::interval, attempt = w.attempt + 1
from due
where w.business_id = due.business_id and w.kind = due.kind and w.subject_id = due.subject_id
returning w.business_id, w.kind, w.subject_id, w.attempt;

-- name: take_work
delete from work
where business_id = :business_id and kind = :kind and subject_id = :subject_id and attempt = :attempt
returning since_at;

-- name: put_back
-- As the clock: the business's own transaction was rolled back.
update work set run_at = :run_at, last_error = :error
where business_id = :business_id and kind = :kind and subject_id = :subject_id and attempt = :attempt;
