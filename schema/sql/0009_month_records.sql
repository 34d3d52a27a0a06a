-- 0009: records of a property's month stand beside those of visits, and what was issued is never rewritten.

alter table service_record alter column visit_id drop not null;
-- the first day of the local month, where it is the record of one
alter table service_record add column month_on date check (extract(day from month_on) = 1);
alter table service_record add constraint service_record_of_visit_or_month
    check ((visit_id is null) <> (month_on is null));
create unique index service_record_of_month on service_record (business_id, property_id, month_on, version)
    where month_on is not null;

-- only what stands beside the signed bytes may change
revoke update on service_record from :prefix_app;
grant update (party) on service_record to :prefix_app;

-- each record from before gets a further version, which holds all that a record states now
insert into work (business_id, kind, subject_id, first_at, run_at)
select distinct business_id, 'records_anew', property_id, now(), now() from service_record
on conflict (business_id, kind, subject_id) do update
set since_at = null, attempt = 0, last_error = null;
