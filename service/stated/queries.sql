-- name: insert_version
insert into stated_version (business_id, noun, id, version, body, received_at, key_id)
values (:business_id, :noun, :id, :version, :body, :received_at, :key_id);

-- name: list_versions
select version, body, received_at, key_id from stated_version
where business_id = :business_id and noun = :noun and id = :id
order by version;

-- name: last_version
select coalesce(max(version), 0) from stated_version
where business_id = :business_id and noun = :noun and id = :id;
