-- name: read_key_in_force
select k.id, k.kid, k.sealed from signing_key k
where k.retired_at is null
order by k.made_at desc, k.kid
limit 1;

-- name: insert_key
insert into signing_key (id, kid, public, sealed, made_at)
values (:id, :kid, :public, :sealed, :now);

-- name: list_public
select k.public from signing_key k
order by k.made_at desc, k.kid;

-- name: list_keys
select k.kid, k.made_at, k.retired_at from signing_key k
order by k.made_at desc, k.kid;

-- name: retire_others
-- As the migrator: retired keys sign nothing and stay published.
update signing_key k set retired_at = :now
where k.retired_at is null and k.id <> :id;
