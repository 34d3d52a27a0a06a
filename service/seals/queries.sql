-- name: read_zone
select zone from business where business_id = :business_id;

-- name: list_leaves
-- The latest version of each record of the month, in ascending number; RFC 6962 puts a zero byte before what a leaf holds.
select r.number, r.version, encode(r.sha256, 'hex') as sha256,
       encode(sha256('\x00'::bytea || convert_to(r.bytes, 'UTF8')), 'hex') as leaf
from service_record r
where r.business_id = :business_id and r.service_on >= :first_on and r.service_on < :until_on
  and r.replaced_sequence is null
order by r.number collate "C";

-- name: read_latest
select m.version, m.root from month_seal m
where m.business_id = :business_id and m.month = :first_on
order by m.version desc
limit 1;

-- name: read_month
select m.month from month_seal m
where m.business_id = :business_id and m.month_id = :month_id
limit 1;

-- name: insert_seal
insert into month_seal (business_id, month, version, month_id, sealed_at, root, bytes, sha256, signature)
values (:business_id, :first_on, :version, :month_id, :now, :root, :bytes, :sha256, :signature);

-- name: read_seal
-- The version that is asked for, else the latest.
select m.version, encode(m.sha256, 'hex') as sha256,
       '{"noun":"signed_month_seal","seal":' || m.bytes || ',"sha256":"' || encode(m.sha256, 'hex')
       || '","signature":"' || m.signature || '"}' as line
from month_seal m
where m.business_id = :business_id and m.month = :first_on and (:version::int is null or m.version = :version::int)
order by m.version desc
limit 1;

-- name: list_seals_of
-- The latest seal of each month of these versions, but for months that wait to be sealed anew, and for those that a
-- record has left in a version that is not among these.
with chosen as (
    select r.number, r.sequence, date_trunc('month', r.service_on)::date as month from service_record r
    where r.business_id = :business_id and r.sequence = any (:sequences::bigint[])
)
select m.month as first_on, m.version, encode(m.sha256, 'hex') as sha256 from month_seal m
where m.business_id = :business_id and m.month in (select c.month from chosen c)
  and not exists (select from month_seal n where n.business_id = :business_id and n.month = m.month
                  and n.version > m.version)
  and not exists (select from work w where w.business_id = :business_id and w.kind = :kind
                  and w.subject_id = m.month_id)
  and not exists (
      select from chosen c
      join service_record r on r.business_id = :business_id and r.number = c.number
      where c.month = m.month and date_trunc('month', r.service_on)::date <> m.month
        and r.sequence not in (select o.sequence from chosen o)
        and r.replaced_sequence is null)
order by m.month;
