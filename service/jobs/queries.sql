-- name: read_job
select id, version, property_id, target, opened_at, closed_at, end_reason, callback_of_job_id, permit_id, locate_ticket, ref, received_at from job
where business_id = :business_id and id = :id;

-- name: put_job
insert into job (business_id, id, version, property_id, target, opened_at, closed_at, end_reason, callback_of_job_id, permit_id, locate_ticket, ref, received_at)
select :business_id, r.id, r.version, r.property_id, r.target, r.opened_at, r.closed_at, r.end_reason, r.callback_of_job_id, r.permit_id, r.locate_ticket, r.ref, r.received_at
from jsonb_populate_record(null::job, :row) r
on conflict (business_id, id) do update
set version = excluded.version, property_id = excluded.property_id, target = excluded.target,
    opened_at = excluded.opened_at, closed_at = excluded.closed_at, end_reason = excluded.end_reason,
    callback_of_job_id = excluded.callback_of_job_id, permit_id = excluded.permit_id, locate_ticket = excluded.locate_ticket,
    ref = excluded.ref, received_at = excluded.received_at;

-- name: list_jobs
select id, version, property_id, target, opened_at, closed_at, end_reason, callback_of_job_id, permit_id, locate_ticket, ref, received_at from job
where business_id = :business_id and id > :after_id::uuid
  and (:property_id::uuid is null or property_id = :property_id)
order by id limit :most;

-- name: find_overlapping
-- At one property only jobs with different targets may overlap.
select id from job
where business_id = :business_id and property_id = :property_id and target = :target and id <> :id
  and opened_at < coalesce(:closed_at::timestamptz, 'infinity') and coalesce(closed_at, 'infinity') > :opened_at::timestamptz
limit 1;

-- name: list_sets_left_out
-- Sets of a closed job's visits that still stand, and were placed before it was closed.
select s.set_id, s.property_id, j.id as job_id, j.closed_at
from job j
join visit_job v on v.business_id = :business_id and v.job_id = j.id
join trap_set p on p.business_id = :business_id and p.visit_id = v.visit_id
join set_state s on s.business_id = :business_id and s.set_id = p.id
where j.business_id = :business_id and j.id = :job_id and j.closed_at is not null
  and p.placed_at <= j.closed_at
  and s.state in ('standing', 'made_safe', 'missing');

-- name: list_closed_jobs_of_standing_sets
-- Jobs that are closed though one of these sets, placed before that, still stands.
select distinct j.id
from trap_set p
join set_state s on s.business_id = :business_id and s.set_id = p.id
join visit_job v on v.business_id = :business_id and v.visit_id = p.visit_id
join job j on j.business_id = :business_id and j.id = v.job_id
where p.business_id = :business_id and p.id = any (:set_ids::uuid[])
  and s.state in ('standing', 'made_safe', 'missing') and p.placed_at <= j.closed_at;

-- name: list_visits_stating_job
select id from visit where business_id = :business_id and job_id = :job_id;

-- name: list_visits_awaiting_job
select v.id as visit_id, v.property_id, v.job_id
from visit v
left join job j on j.business_id = :business_id and j.id = v.job_id and j.property_id = v.property_id
where v.business_id = :business_id and v.id = any (:visit_ids::uuid[])
  and v.job_id is not null and v.withdrawn_at is null and j.id is null;
