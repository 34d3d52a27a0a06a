-- name: keep_refusal
insert into refusal (business_id, id, claimed_id, sha256, body, status, problem, property_id, key_id, received_at)
values (:business_id, :id, :claimed_id, :sha256, :body, :status, :problem, :property_id, :key_id, :now)
on conflict (business_id, claimed_id, sha256) do update
set status = excluded.status, problem = excluded.problem, received_at = excluded.received_at,
    property_id = excluded.property_id, key_id = excluded.key_id
returning id, accepted_visit_id;

-- name: is_of_erased
-- Whether a customer who was erased held a property that is named, on the day of the arrival or of the visit that is
-- named; of a body without a readable arrival, on any day. What nobody else ever held is theirs on every day.
select exists (
    select from tenure h
    join customer c on c.business_id = :business_id and c.id = h.customer_id and c.erased is not null
    join property p on p.business_id = :business_id and p.id = h.property_id
    left join visit v on v.business_id = :business_id and v.property_id = p.id and v.id = any (:ids::uuid[])
    cross join lateral (values (:arrived_at::timestamptz), (v.arrived_at)) i (at)
    where h.business_id = :business_id and (p.id = any (:ids::uuid[]) or v.id is not null)
      and (:arrived_at::timestamptz is null
           or (h.from_on <= (i.at at time zone p.zone)::date
               and (h.until_on is null or h.until_on > (i.at at time zone p.zone)::date))
           or not exists (select from tenure o where o.business_id = :business_id and o.property_id = p.id
                          and o.customer_id <> h.customer_id)));

-- name: read_accepted
-- The visit that a mended body of these bytes became.
select accepted_visit_id from refusal
where business_id = :business_id and claimed_id is not distinct from :claimed_id and sha256 = :sha256;

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
-- Of those that an erasure emptied nothing is left to take in.
select id, claimed_id, key_id, body from refusal
where business_id = :business_id and property_id = :property_id and accepted_at is null and body <> ''
order by received_at, id;

-- name: delete_refusals_until
delete from refusal where business_id = :business_id and received_at <= :until;

-- name: read_oldest
-- When the oldest refusal that is kept was received.
select min(received_at) from refusal where business_id = :business_id;

-- name: is_property_known
select exists (select from property where business_id = :business_id and id = :property_id);
