-- name: list_waiting
-- Visits without a record, in order of id: an amendment that moves one in time hides no other from whoever turns pages.
select v.id as visit_id, v.property_id, v.arrived_at, p.zone, b.issue = 'by_office' as by_office, w.run_at,
       coalesce(w.attempt, 0) as attempts
from visit v
join property p on p.business_id = :business_id and p.id = v.property_id
join business b on b.business_id = :business_id
left join work w on w.business_id = :business_id and w.kind = :kind and w.subject_id = v.id
where v.business_id = :business_id and v.id > :after_id::uuid and v.withdrawn_at is null
  and (:property_id::uuid is null or v.property_id = :property_id)
  and not exists (select from service_record r where r.business_id = :business_id and r.visit_id = v.id)
order by v.id
limit :most;

-- name: read_waiting
select v.id as visit_id, v.property_id, v.arrived_at, p.zone, b.issue = 'by_office' as by_office, w.run_at,
       coalesce(w.attempt, 0) as attempts
from visit v
join property p on p.business_id = :business_id and p.id = v.property_id
join business b on b.business_id = :business_id
left join work w on w.business_id = :business_id and w.kind = :kind and w.subject_id = v.id
where v.business_id = :business_id and v.id = :visit_id;

-- name: find_number
-- The number of the record that a visit has, if it has one.
select r.number from service_record r where r.business_id = :business_id and r.visit_id = :visit_id limit 1;
