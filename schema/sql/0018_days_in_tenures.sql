-- 0018: whether an instant lies in a tenure is said once.

-- by the local date at the property; a tenure ends before its `until_on`
create function lies_in(at timestamptz, zone text, from_on date, until_on date) returns boolean
    language sql immutable parallel safe
    return from_on <= (at at time zone zone)::date and (until_on is null or until_on > (at at time zone zone)::date);
