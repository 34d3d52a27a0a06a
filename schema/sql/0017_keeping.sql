-- 0017: how long persons are kept is said for each kind of them, and refused bodies go by themselves.

-- {customers, workers}: years; a kind that is not named is never erased by itself
alter table business add column keep_years jsonb not null default '{}';
update business set keep_years = jsonb_build_object('customers', keep_personal_years)
where keep_personal_years is not null;
alter table business drop column keep_personal_years;

-- those that lie here already
insert into work (business_id, kind, subject_id, first_at, run_at)
select business_id, 'refusals_old', business_id, now(), min(received_at) + interval '90 days' from refusal
group by business_id
on conflict do nothing;
