-- 0016: what a pull asks of each row stands in the row, and what is long is not copied to be put together.

-- the place in the log of the version that replaces this one; none where it is the latest
alter table service_record add column replaced_sequence bigint;
update service_record r set replaced_sequence = n.sequence
from service_record n
where n.business_id = r.business_id and n.number = r.number and n.version = r.version + 1;
grant update (replaced_sequence) on service_record to :prefix_app;

-- a signed record as the pieces of its line
create function signed_head() returns text
    language sql immutable parallel safe
    return '{"noun":"signed_service_record","record":';

create function signed_tail(sha256 bytea, signature text) returns text
    language sql immutable parallel safe
    return ',"sha256":"' || encode(sha256, 'hex') || '","signature":' || coalesce('"' || signature || '"', 'null') || '}';

create or replace function signed_line(bytes text, sha256 bytea, signature text) returns text
    language sql immutable parallel safe
    return signed_head() || bytes || signed_tail(sha256, signature);
