-- 0008: records are signed: the installation's keys, and a signature beside each record's bytes.

-- One is in force, the newest; retired ones stay for ever, since records outlive them. It belongs to no business.
create table signing_key (
    id uuid primary key,
    -- RFC 7638 thumbprint of the public key
    kid text not null unique,
    public bytea not null,
    sealed bytea not null,
    made_at timestamptz not null,
    retired_at timestamptz
);
grant select, insert on signing_key to :prefix_app;

-- detached JWS (RFC 7515, appendix F) over `bytes`; null on what was issued before records were signed
alter table service_record add column signature text;

-- A version as it goes out: the bytes as they are, with digest and signature, itself in RFC 8785 form.
create function signed_line(bytes text, sha256 bytea, signature text) returns text
    language sql immutable parallel safe
    return '{"noun":"signed_service_record","record":' || bytes || ',"sha256":"' || encode(sha256, 'hex')
           || '","signature":' || coalesce('"' || signature || '"', 'null') || '}';

-- each record from before gets a further version, which is signed
insert into work (business_id, kind, subject_id, first_at, run_at)
select distinct business_id, 'records_anew', property_id, now(), now() from service_record
on conflict do nothing;
