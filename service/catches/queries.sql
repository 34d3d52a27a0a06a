-- name: list_catches
select c.id, c.visit_id, '"' || v.version || '"' as visit_etag, c.property_id, j.job_id, c.check_id, c.set_id, c.trap_no,
       c.caught_at, c.method, s.mechanism, c.species, c.sex, c.age_class, c.mass_g, c.fate, c.photo_ids,
       c.species = coalesce(s.target, b.target) as target
from catch c
join visit v on v.business_id = :business_id and v.id = c.visit_id
join property p on p.business_id = :business_id and p.id = c.property_id
join visit_job j on j.business_id = :business_id and j.visit_id = c.visit_id
left join job b on b.business_id = :business_id and b.id = j.job_id
left join trap_set s on s.business_id = :business_id and s.id = c.set_id
where c.business_id = :business_id
  and (:property_id::uuid is null or c.property_id = :property_id)
  and (:job_id::uuid is null or j.job_id = :job_id)
  and (:set_id::uuid is null or c.set_id = :set_id)
  and (:species::text is null or c.species = :species)
  and (:since::date is null or c.caught_at >= :since::date::timestamp at time zone p.zone)
  and (:until::date is null or c.caught_at < :until::date::timestamp at time zone p.zone)
  and (c.caught_at, c.id) > (:after_at::timestamptz, :after_id::uuid)
order by c.caught_at, c.id limit :most;

-- name: read_catch
select c.id, c.visit_id, '"' || v.version || '"' as visit_etag, c.property_id, j.job_id, c.check_id, c.set_id, c.trap_no,
       c.caught_at, c.method, s.mechanism, c.species, c.sex, c.age_class, c.mass_g, c.fate, c.photo_ids,
       c.species = coalesce(s.target, b.target) as target
from catch c
join visit v on v.business_id = :business_id and v.id = c.visit_id
join visit_job j on j.business_id = :business_id and j.visit_id = c.visit_id
left join job b on b.business_id = :business_id and b.id = j.job_id
left join trap_set s on s.business_id = :business_id and s.id = c.set_id
where c.business_id = :business_id and c.id = :id;
