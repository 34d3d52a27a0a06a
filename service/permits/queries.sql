-- name: read_permit
select id, version, number, authority, region, species, mechanisms, quota, from_on, until_on, report_periods, report_nil,
       reports_sent, received_at from permit
where business_id = :business_id and id = :id;

-- name: put_permit
insert into permit (business_id, id, version, number, authority, region, species, mechanisms, quota, from_on, until_on, report_periods, report_nil, reports_sent, received_at)
select :business_id, r.id, r.version, r.number, r.authority, r.region, r.species, r.mechanisms, r.quota, r.from_on, r.until_on, r.report_periods, r.report_nil, r.reports_sent, r.received_at
from jsonb_populate_record(null::permit, :row) r
on conflict (business_id, id) do update
set version = excluded.version, number = excluded.number, authority = excluded.authority,
    region = excluded.region, species = excluded.species, mechanisms = excluded.mechanisms,
    quota = excluded.quota, from_on = excluded.from_on, until_on = excluded.until_on,
    report_periods = excluded.report_periods, report_nil = excluded.report_nil, reports_sent = excluded.reports_sent,
    received_at = excluded.received_at;

-- name: list_permits
select id, version, number, authority, region, species, mechanisms, quota, from_on, until_on, report_periods, report_nil,
       reports_sent, received_at from permit
where business_id = :business_id and id > :after_id::uuid
order by id limit :most;

-- name: list_reporting
-- Permits with what their reports follow from.
select p.id, p.version, p.number, p.authority, p.region, p.species, p.mechanisms, p.quota, p.from_on, p.until_on,
       p.report_periods, p.report_nil, p.reports_sent, p.received_at, b.zone, (
           select coalesce(jsonb_agg(to_jsonb(k) - 'business_id' order by k.name, k.id), '[]') from rule_pack k
           where k.business_id = :business_id and (p.region = k.region or starts_with(p.region, k.region || '-'))
       ) as packs
from permit p
join business b on b.business_id = :business_id
where p.business_id = :business_id and p.id = any (:permit_ids::uuid[])
order by p.id;

-- name: count_taken
-- Animals that count against the permit's quota: its species, taken while it holds by visits of jobs done under it,
-- whatever became of them but those that escaped. Without :but_visit_id all visits count.
select count(*)
from permit m
join job j on j.business_id = :business_id and j.permit_id = m.id
join property p on p.business_id = :business_id and p.id = j.property_id
join catch c on c.business_id = :business_id and c.property_id = j.property_id
join visit_job k on k.business_id = :business_id and k.visit_id = c.visit_id and k.job_id = j.id
where m.business_id = :business_id and m.id = :permit_id and c.fate <> 'escaped'
  and (:but_visit_id::uuid is null or c.visit_id <> :but_visit_id)
  and (c.caught_at at time zone p.zone)::date >= m.from_on
  and (m.until_on is null or (c.caught_at at time zone p.zone)::date < m.until_on)
  and (m.species = '{}' or exists (
        select from unnest(m.species) s (named) where c.species = s.named or starts_with(c.species, s.named || ' ')));
