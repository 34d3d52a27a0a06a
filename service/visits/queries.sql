-- name: read_visit
select v.id, v.property_id, v.version, v.digest, v.first_received_at, v.received_at, v.withdrawn_at, w.body
from visit v
left join visit_version w on w.business_id = :business_id and w.visit_id = v.id
    and w.version = (select max(x.version) from visit_version x
                     where x.business_id = :business_id and x.visit_id = v.id and x.body is not null)
where v.business_id = :business_id and v.id = :id;

-- name: list_digests
-- Digests of every version that a visit ever had: a body equal to one of them is the same again.
select digest from visit_version where business_id = :business_id and visit_id = :id and digest is not null;

-- name: list_versions
select version, body, amend_reason, received_at, key_id from visit_version
where business_id = :business_id and visit_id = :id order by version;

-- name: list_visits
select v.id, v.property_id, v.version, v.digest, v.first_received_at, v.received_at, v.withdrawn_at, w.body
from visit v
join visit_version w on w.business_id = :business_id and w.visit_id = v.id and w.version = v.version
join property p on p.business_id = :business_id and p.id = v.property_id
join visit_job j on j.business_id = :business_id and j.visit_id = v.id
where v.business_id = :business_id
  and (:property_id::uuid is null or v.property_id = :property_id)
  and (:job_id::uuid is null or j.job_id = :job_id)
  and (:worker_id::uuid is null or v.worker_id = :worker_id)
  and (not :unassigned or j.job_id is null)
  and (:since::date is null or v.arrived_at >= :since::date::timestamp at time zone p.zone)
  and (:until::date is null or v.arrived_at < :until::date::timestamp at time zone p.zone)
  and (v.arrived_at, v.id) > (:after_at::timestamptz, :after_id::uuid)
  and v.withdrawn_at is null
order by v.arrived_at, v.id limit :most;

-- name: read_surroundings
-- What a visit's own body is judged beside: its property and the rule packs of its region, its workers, the one job it
-- can be of with its permit, mechanisms it checks.
select
    p.id is not null as property_known, p.region, p.county, p.locality, p.zone,
    (select coalesce(jsonb_agg(to_jsonb(k) - 'business_id' order by k.id), '[]') from rule_pack k
     where k.business_id = :business_id
       and (p.region = k.region or starts_with(p.region, k.region || '-'))) as packs,
    coalesce((select array_agg(w.id) from worker w where w.business_id = :business_id and w.id = any (:worker_ids::uuid[])), '{}') as workers_known,
    j.target, j.under_permit,
    (select jsonb_build_object('id', m.id, 'number', m.number, 'authority', m.authority, 'species', m.species,
                               'mechanisms', m.mechanisms, 'quota', m.quota, 'from_on', m.from_on, 'until_on', m.until_on,
                               'zone', p.zone)
     from permit m where m.business_id = :business_id and m.id = j.permit_id) as permit,
    exists (select from job l where l.business_id = :business_id and l.property_id = :property_id
            and l.opened_at <= :arrived_at and (l.closed_at is null or :arrived_at < l.closed_at)
            and coalesce((l.locate_ticket ->> 'starts_at')::timestamptz, :arrived_at) <= :arrived_at
            and coalesce((l.locate_ticket ->> 'expires_at')::timestamptz, 'infinity') > :arrived_at
            and l.locate_ticket is not null) as ticket_known,
    coalesce((select array_agg(f.id) from feature f where f.business_id = :business_id and f.property_id = :property_id), '{}') as features_known,
    coalesce((select array_agg(s.id) from trap_set s where s.business_id = :business_id and s.id = any (:set_ids::uuid[])
              and s.mechanism = 'harpoon'), '{}') as harpoons,
    exists (select from tenure h
            join customer c on c.business_id = :business_id and c.id = h.customer_id and c.erased is not null
            where h.business_id = :business_id and h.property_id = :property_id
              and ((h.from_on <= (:arrived_at::timestamptz at time zone p.zone)::date
                    and (h.until_on is null or h.until_on > (:arrived_at::timestamptz at time zone p.zone)::date))
                   or not exists (select from tenure o where o.business_id = :business_id
                                  and o.property_id = h.property_id and o.customer_id <> h.customer_id))
           ) as holder_erased
from (
    select case when count(*) = 1 then min(o.target) end as target,
           case when count(*) = 1 then (array_agg(o.permit_id))[1] end as permit_id,
           count(*) = 1 and bool_and(o.permit_id is not null) as under_permit
    from job o
    where o.business_id = :business_id and o.property_id = :property_id
      and (o.id = :job_id or :job_id::uuid is null and o.opened_at <= :arrived_at
           and (o.closed_at is null or :arrived_at < o.closed_at))
) j
left join property p on p.business_id = :business_id and p.id = :property_id;

-- name: insert_visit
insert into visit select r.* from jsonb_populate_record(null::visit, :row) r where r.business_id = :business_id;

-- name: update_visit
update visit v
set property_id = r.property_id, job_id = r.job_id, worker_id = r.worker_id, with_worker_ids = r.with_worker_ids,
    appointment_id = r.appointment_id, arrived_at = r.arrived_at, left_at = r.left_at, ended_at = r.ended_at,
    outcome = r.outcome, no_access_reason = r.no_access_reason, notes = r.notes, customer_note = r.customer_note,
    treatments_none = r.treatments_none, version = r.version, digest = r.digest, received_at = r.received_at,
    key_id = r.key_id, withdrawn_at = null
from jsonb_populate_record(null::visit, :row) r
where v.business_id = :business_id and v.id = r.id;

-- name: withdraw_visit
update visit set withdrawn_at = :now, version = version + 1, received_at = :now, key_id = :key_id
where business_id = :business_id and id = :id
returning version;

-- name: insert_version
insert into visit_version (business_id, visit_id, version, body, digest, amend_reason, received_at, key_id)
values (:business_id, :visit_id, :version, :body, :digest, :amend_reason, :now, :key_id);

-- name: insert_facts
-- One statement for all lists of a body; `rows` holds, under each table's name, its rows with every column.
with given as (select :rows::jsonb as rows),
a as (insert into survey select r.* from given, jsonb_populate_recordset(null::survey, rows->'survey') r where r.business_id = :business_id),
b2 as (insert into sign select r.* from given, jsonb_populate_recordset(null::sign, rows->'sign') r where r.business_id = :business_id),
c as (insert into tamping select r.* from given, jsonb_populate_recordset(null::tamping, rows->'tamping') r where r.business_id = :business_id),
d as (insert into look select r.* from given, jsonb_populate_recordset(null::look, rows->'look') r where r.business_id = :business_id),
e as (insert into trap_set select r.* from given, jsonb_populate_recordset(null::trap_set, rows->'trap_set') r where r.business_id = :business_id),
f as (insert into trap_check select r.* from given, jsonb_populate_recordset(null::trap_check, rows->'trap_check') r where r.business_id = :business_id),
g as (insert into catch select r.* from given, jsonb_populate_recordset(null::catch, rows->'catch') r where r.business_id = :business_id),
h as (insert into clearing select r.* from given, jsonb_populate_recordset(null::clearing, rows->'clearing') r where r.business_id = :business_id),
i as (insert into repair select r.* from given, jsonb_populate_recordset(null::repair, rows->'repair') r where r.business_id = :business_id),
j as (insert into upkeep select r.* from given, jsonb_populate_recordset(null::upkeep, rows->'upkeep') r where r.business_id = :business_id),
k as (insert into treatment select r.* from given, jsonb_populate_recordset(null::treatment, rows->'treatment') r where r.business_id = :business_id)
insert into told select r.* from given, jsonb_populate_recordset(null::told, rows->'told') r where r.business_id = :business_id;

-- name: delete_facts
-- Before an amended body's facts go in, and when a visit is withdrawn; history keeps the bodies.
with a as (delete from survey where business_id = :business_id and visit_id = :visit_id),
b2 as (delete from sign where business_id = :business_id and visit_id = :visit_id),
c as (delete from tamping where business_id = :business_id and visit_id = :visit_id),
d as (delete from look where business_id = :business_id and visit_id = :visit_id),
e as (delete from trap_set where business_id = :business_id and visit_id = :visit_id),
f as (delete from trap_check where business_id = :business_id and visit_id = :visit_id),
g as (delete from catch where business_id = :business_id and visit_id = :visit_id),
h as (delete from clearing where business_id = :business_id and visit_id = :visit_id),
i as (delete from repair where business_id = :business_id and visit_id = :visit_id),
j as (delete from upkeep where business_id = :business_id and visit_id = :visit_id),
k as (delete from treatment where business_id = :business_id and visit_id = :visit_id)
delete from told where business_id = :business_id and visit_id = :visit_id;

-- name: is_on_record
select exists (select from service_record where business_id = :business_id and visit_id = :visit_id);

-- name: list_subjects_open_between
-- Whose why shows an attempt at a locked gate: deadlines that were open at some time between the two instants.
select distinct d.subject_id as id, case when d.kind in ('check', 'set_search', 'lawn_cover') then 'set' else 'sign' end as noun
from deadline d
where d.business_id = :business_id and d.property_id = any (:property_ids::uuid[]) and d.kind <> 'report'
  and d.started_at <= :last_at and (d.met_at is null or d.met_at > :first_at);

-- name: list_conflicts_of_visit
select kind as code, sentence as detail, fact_id from conflict
where business_id = :business_id and visit_id = :visit_id order by kind, fact_id;

-- name: list_subjects_of_property
-- Everything at a property that has a state or deadlines of its own.
select s.set_id as id, 'set' as noun from set_state s where s.business_id = :business_id and s.property_id = :property_id
union all
select g.sign_id, 'sign' from sign_state g where g.business_id = :business_id and g.property_id = :property_id;
