-- 0011: sealed months: a Merkle root over the latest versions of a month's records, so that leaving one out shows.

create table month_seal (
    business_id uuid not null references business,
    -- its first day
    month date not null check (extract(day from month) = 1),
    version int not null check (version > 0),
    -- the same for every version: what the work that seals anew and the event are about
    month_id uuid not null,
    sealed_at timestamptz not null,
    -- RFC 6962 root: equal where nothing is new
    root bytea not null,
    -- RFC 8785 bytes, as issued, their digest, and the detached JWS over them
    bytes text not null,
    sha256 bytea not null,
    signature text not null,
    primary key (business_id, month, version)
);
create index month_seal_by_id on month_seal (business_id, month_id);
select guard_table('month_seal');
-- what was issued is never rewritten
revoke update, delete on month_seal from :prefix_app;
