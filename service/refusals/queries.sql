-- name: keep_refusal
insert into refusal (business_id, id, claimed_id, sha256, body, status, problem, property_id, key_id, received_at)
values (:business_id, :id, :claimed_id, :sha256, :body, :status, :problem, :property_id, :key_id, :now)
on conflict (business_id, claimed_id, sha256) do update
set status = excluded.status, problem = excluded.problem, received_at = excluded.received_at,
    property_id = excluded.property_id, key_id = excluded.key_id
returning id, accepted_visit_id;

-- name: read_refusal
select id, claimed_id, status, problem, received_at, accepted_at, accepted_visit_id, body from refusal
where business_id = :business_id and id = :id;

-- name: list_refusals
select id, claimed_id, status, problem, received_at, accepted_at, accepted_visit_id from refusal
where business_id = :business_id and (:open::bool is null or (accepted_at is null) = :open) and id > :after_id::uuid
order by id limit :most;

-- name: accept_refusal
update refusal set accepted_at = :now, accepted_visit_id = :visit_id
where business_id = :business_id and id = :id and accepted_at is null;

-- name: list_bodies_waiting_for_property
select id, claimed_id, key_id, body from refusal
where business_id = :business_id and property_id = :property_id and accepted_at is null
order by received_at, id;

-- name: delete_refusals_before
delete from refusal where business_id = :business_id and received_at < :before;

-- name: is_property_known
select exists (select from property where business_id = :business_id and id = :property_id);
