-- name: claim_ids
-- An id belongs to one owner for ever. Gives back those that are another's.
with claimed as (
    insert into fact_owner (business_id, id, owner_id)
    select :business_id, u.id, :owner_id from unnest(:ids::uuid[]) u (id)
    on conflict (business_id, id) do nothing
)
select f.id from fact_owner f
where f.business_id = :business_id and f.id = any (:ids::uuid[]) and f.owner_id <> :owner_id;
