-- name: visit_of_sign
select visit_id from sign where business_id = :business_id and id = :id;

-- name: visit_of_set
select visit_id from trap_set where business_id = :business_id and id = :id;

-- name: visit_of_catch
select visit_id from catch where business_id = :business_id and id = :id;
