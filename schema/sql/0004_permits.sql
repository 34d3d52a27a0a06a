-- 0004: a permit's own reporting year in place of one date, and the reports that were sent.

alter table permit drop column report_due_on;
alter table permit
    -- lists, see service/packs/models.py ReportPeriod and service/permits/models.py ReportSent
    add column report_periods jsonb not null default '[]',
    -- whether a report is due where nothing was taken too; null where the permit does not say
    add column report_nil boolean,
    add column reports_sent jsonb not null default '[]';

create index job_of_permit on job (business_id, permit_id) where permit_id is not null;
