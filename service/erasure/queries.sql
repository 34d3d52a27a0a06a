-- name: list_homes
-- The properties that the customer held, each with the last local day on which a visit of the tenure arrived.
select p.id as property_id, p.zone,
       (select jsonb_agg(jsonb_build_object('from_on', h.from_on, 'until_on', h.until_on) order by h.from_on) from tenure h
        where h.business_id = :business_id and h.property_id = p.id and h.customer_id = :customer_id) as held,
       p.kind, p.region, p.county, p.locality,
       (select coalesce(jsonb_agg(to_jsonb(k) - 'business_id' order by k.id), '[]') from rule_pack k
        where k.business_id = :business_id
          and (p.region = k.region or starts_with(p.region, k.region || '-'))) as packs,
       not exists (select from tenure o where o.business_id = :business_id and o.property_id = p.id
                   and o.customer_id <> :customer_id) as is_theirs,
       (select o.customer_id = :customer_id from tenure o where o.business_id = :business_id and o.property_id = p.id
        order by o.from_on desc, o.id limit 1) as is_last,
       exists (select from treatment x where x.business_id = :business_id and x.property_id = p.id) as treated,
       exists (select from job j where j.business_id = :business_id and j.property_id = p.id
               and j.permit_id is not null) as under_permit,
       (select max((v.arrived_at at time zone p.zone)::date) from visit v
        where v.business_id = :business_id and v.property_id = p.id
          and exists (select from tenure h where h.business_id = :business_id and h.property_id = p.id
                      and h.customer_id = :customer_id and lies_in(v.arrived_at, p.zone, h.from_on, h.until_on))) as last_on
from property p
where p.business_id = :business_id
  and p.id in (select t1.property_id from tenure t1
               where t1.business_id = :business_id and t1.customer_id = :customer_id)
order by p.id;

-- name: list_workplaces
-- The properties where the worker was, each with the last local day of it. An affidavit is the client's and names no
-- worker.
select p.id as property_id, p.kind, p.region, p.county, p.locality,
       (select coalesce(jsonb_agg(to_jsonb(k) - 'business_id' order by k.id), '[]') from rule_pack k
        where k.business_id = :business_id
          and (p.region = k.region or starts_with(p.region, k.region || '-'))) as packs,
       exists (select from treatment x where x.business_id = :business_id and x.property_id = p.id) as treated,
       false as under_permit, (w.last_at at time zone p.zone)::date as last_on
from property p
join (select v.property_id, max(v.arrived_at) as last_at from visit v
      where v.business_id = :business_id and (v.worker_id = :worker_id or :worker_id::uuid = any (v.with_worker_ids))
      group by v.property_id) w on w.property_id = p.id
where p.business_id = :business_id
order by p.id;

-- name: list_visit_versions
-- Every version of the visits that are at these properties, or were in a version before they were amended: no body is
-- read of a visit elsewhere that never was.
with there as (
    select c.id from visit c where c.business_id = :business_id and c.property_id = any (:property_ids::uuid[])
    union
    select c.id from visit c
    join visit_version v on v.business_id = :business_id and v.visit_id = c.id and v.body is not null
    where c.business_id = :business_id and c.version > 1
      and case when c.version > 1 then (v.body::jsonb->>'property_id')::uuid end = any (:property_ids::uuid[]))
select v.visit_id as id, v.version, b.body::jsonb->>'property_id' as property_id,
       b.body::jsonb->>'arrived_at' as arrived_at, v.version = c.version as is_last
from there w
join visit c on c.business_id = :business_id and c.id = w.id
join visit_version v on v.business_id = :business_id and v.visit_id = c.id
join visit_version b on b.business_id = :business_id and b.visit_id = c.id
     and b.version = v.version - case when v.body is null then 1 else 0 end
order by v.visit_id, v.version;

-- name: list_visit_bodies
select v.visit_id as id, v.version, convert_to(v.body, 'UTF8') as body
from unnest(:ids::uuid[], :versions::int[]) r (id, version)
join visit_version v on v.business_id = :business_id and v.visit_id = r.id and v.version = r.version
where v.body is not null
order by v.visit_id, v.version;

-- name: replace_visit_bodies
update visit_version v set body = convert_from(r.body, 'UTF8')
from unnest(:ids::uuid[], :versions::int[], :bodies::bytea[]) r (id, version, body)
where v.business_id = :business_id and v.visit_id = r.id and v.version = r.version;

-- name: forget_amend_reasons
update visit_version v set amend_reason = null
where v.business_id = :business_id and v.visit_id = any (:visit_ids::uuid[]) and v.amend_reason is not null;

-- name: forget_visits
update visit v set notes = null, customer_note = null, no_access_reason = null
where v.business_id = :business_id and v.id = any (:visit_ids::uuid[]);

-- name: forget_told
update told d set who = :gone, how = :gone
where d.business_id = :business_id and d.visit_id = any (:visit_ids::uuid[]);

-- name: forget_signs
update sign s set told_by = null
where s.business_id = :business_id and s.visit_id = any (:visit_ids::uuid[]) and s.told_by is not null;

-- name: forget_upkeep
-- Stated alone: what was done or came in a tenure.
update upkeep u set told_by = null
where u.business_id = :business_id and u.told_by is not null
  and (u.visit_id = any (:visit_ids::uuid[]) or (u.visit_id is null and exists (
      select from tenure h join property p on p.business_id = :business_id and p.id = h.property_id
      cross join lateral (values (u.at), (u.received_at)) i (at)
      where h.business_id = :business_id and h.property_id = u.property_id and h.customer_id = :customer_id
        and (u.property_id = any (:theirs::uuid[]) or lies_in(i.at, p.zone, h.from_on, h.until_on)))));

-- name: forget_treatments
-- Stated alone: what was done or came in a tenure.
update treatment x set told_by = null
where x.business_id = :business_id and x.told_by is not null
  and (x.visit_id = any (:visit_ids::uuid[]) or (x.visit_id is null and exists (
      select from tenure h join property p on p.business_id = :business_id and p.id = h.property_id
      cross join lateral (values (x.applied_at), (x.received_at)) i (at)
      where h.business_id = :business_id and h.property_id = x.property_id and h.customer_id = :customer_id
        and (x.property_id = any (:theirs::uuid[]) or lies_in(i.at, p.zone, h.from_on, h.until_on)))));

-- name: forget_incidents
update incident n set description = :gone, measures = null
where n.business_id = :business_id
  and (n.visit_id = any (:visit_ids::uuid[]) or n.property_id = any (:theirs::uuid[]) or exists (
      select from tenure h join property p on p.business_id = :business_id and p.id = h.property_id
      cross join lateral (values (n.happened_at), (n.received_at)) i (at)
      where h.business_id = :business_id and h.property_id = n.property_id and h.customer_id = :customer_id
        and lies_in(i.at, p.zone, h.from_on, h.until_on)));

-- name: forget_properties
-- Those that nobody held after the customer: of others, name and address speak of who came next.
update property p set name = :gone, ref = null, address = null, access_notes = null
where p.business_id = :business_id and p.id = any (:last_held::uuid[]);

-- name: forget_features
update feature f set name = :gone where f.business_id = :business_id and f.property_id = any (:theirs::uuid[]);

-- name: forget_jobs
-- Those that were opened or came in a tenure of the customer.
update job j set ref = null
where j.business_id = :business_id and j.ref is not null and exists (
    select from tenure h join property p on p.business_id = :business_id and p.id = h.property_id
    cross join lateral (values (j.opened_at), (j.received_at)) i (at)
    where h.business_id = :business_id and h.property_id = j.property_id and h.customer_id = :customer_id
      and (j.property_id = any (:theirs::uuid[]) or lies_in(i.at, p.zone, h.from_on, h.until_on)));

-- name: forget_customer
update customer c set name = :gone, ref = null, email = null, phone = null, addresses = '[]', erased = :erased
where c.business_id = :business_id and c.id = :id;

-- name: forget_worker
update worker w set name = :gone, licences = '[]', active = false, erased = :erased
where w.business_id = :business_id and w.id = :id;

-- name: forget_key_names
update api_key k set name = :gone where k.business_id = :business_id and k.worker_id = :worker_id;

-- name: has_key_in_force
select exists (select from api_key k where k.business_id = :business_id and k.worker_id = :worker_id
               and k.revoked_at is null and (k.expires_at is null or k.expires_at > :now));

-- name: list_histories
-- Every stated version of the person, of these properties, of what stands there, and of what is of these visits.
select s.noun, s.id, s.version, s.body, s.received_at, o.property_id, o.of_visit from stated_version s
left join feature f on s.noun = 'feature' and f.business_id = :business_id and f.id = s.id
cross join lateral (select case when s.noun = 'property' then s.id
                                else coalesce(f.property_id, (s.body->>'property_id')::uuid) end as property_id,
                           coalesce((s.body->>'visit_id')::uuid = any (:visit_ids::uuid[]), false) as of_visit) o
where s.business_id = :business_id and s.body is not null
  and ((s.noun = :noun and s.id = :id) or o.property_id = any (:property_ids::uuid[]) or o.of_visit)
order by s.noun, s.id, s.version;

-- name: replace_histories
update stated_version s set body = r.body
from jsonb_to_recordset(:rows) r (noun text, id uuid, version int, body jsonb)
where s.business_id = :business_id and s.noun = r.noun and s.id = r.id and s.version = r.version;

-- name: list_refused
-- Bodies refused and kept that name a property which the customer held, or are of a visit of theirs: a visit that was
-- never accepted names the property in its body alone.
select f.id, f.received_at, f.body, w.property_ids,
       coalesce(f.claimed_id = any (:visit_ids::uuid[]), false) or w.property_ids && :theirs::uuid[] as is_theirs
from refusal f
cross join lateral (select array(select u.id from unnest(:property_ids::uuid[]) u (id)
                                 where strpos(lower(encode(f.body, 'escape')), u.id::text) > 0) as property_ids) w
where f.business_id = :business_id and f.body <> ''
  and (f.claimed_id = any (:visit_ids::uuid[]) or w.property_ids <> '{}')
order by f.id;

-- name: forget_refused
-- Nothing vouches for what stands under which member of such a body, and sentences of a problem quote it, so neither
-- stays; the digest does.
update refusal f set body = '', problem = (f.problem - 'errors') || jsonb_build_object('detail', :gone::text)
where f.business_id = :business_id and f.id = any (:ids::uuid[]);

-- name: erase_parties_of_customer
with gone as (
    update service_record r set party = null, erased = :erased
    where r.business_id = :business_id and r.party is not null
      and (r.customer_id = :customer_id or r.visit_id = any (:visit_ids::uuid[]) or r.property_id = any (:theirs::uuid[]))
    returning r.number)
select count(*) from gone;

-- name: erase_parties_of_worker
-- The records of visits where the worker was, and of months with such a visit: their bytes hold the worker's id.
with gone as (
    update service_record r set party = null, erased = :erased
    where r.business_id = :business_id and r.party is not null and strpos(r.bytes, :worker_id::uuid::text) > 0
    returning r.number)
select count(*) from gone;

-- name: list_held_of_customer
-- What is theirs, and not all that may be: what is of another's days is never handed out. Of a property that somebody
-- held before, the row names this customer where it was stated in a tenure of theirs; a reason for amending speaks of
-- both versions; a party block names whom the record was issued for.
select h.noun, h.id, h.data from (
    select 1 as place, 'customer' as noun, c.id::text as id, to_jsonb(c) - 'business_id' as data from customer c
    where c.business_id = :business_id and c.id = :customer_id
    union all
    select 2, 'tenure', h.id::text, to_jsonb(h) - 'business_id' from tenure h
    where h.business_id = :business_id and h.customer_id = :customer_id
    union all
    select 3, 'property', p.id::text, to_jsonb(p) - 'business_id' - case
        when p.id = any (:theirs::uuid[]) or exists (
            select from tenure h where h.business_id = :business_id and h.property_id = p.id
            and h.customer_id = :customer_id and lies_in(p.received_at, p.zone, h.from_on, h.until_on)) then '{}'::text[]
        else '{name,ref,address,access_notes}' end
    from property p where p.business_id = :business_id and p.id = any (:last_held::uuid[])
    union all
    select 4, 'visit, version ' || v.version, v.visit_id::text, coalesce(v.body::jsonb, '{}') || jsonb_strip_nulls(
        jsonb_build_object('received_at', v.received_at, 'amend_reason',
                           case when v.visit_id = any (:whole_ids::uuid[]) then v.amend_reason end))
    from unnest(:version_ids::uuid[], :versions::int[]) r (id, version)
    join visit_version v on v.business_id = :business_id and v.visit_id = r.id and v.version = r.version
    union all
    select 5, 'incident', n.id::text, to_jsonb(n) - 'business_id' from incident n
    where n.business_id = :business_id
      and (n.property_id = any (:theirs::uuid[]) or exists (
          select from tenure h join property p on p.business_id = :business_id and p.id = h.property_id
          where h.business_id = :business_id and h.property_id = n.property_id and h.customer_id = :customer_id
            and lies_in(n.happened_at, p.zone, h.from_on, h.until_on)))
    union all
    select 6, 'service record', r.number || '.' || r.version, jsonb_strip_nulls(jsonb_build_object(
        'record', r.bytes::jsonb, 'erased', r.erased, 'billed_on', b.billed_on, 'party', case when o.named then r.party end,
        'invoice_ref', case when o.named then b.invoice_ref end))
    from service_record r
    left join billed b on b.business_id = :business_id and b.number = r.number and b.version = r.version
    cross join lateral (select r.customer_id is not null or r.property_id = any (:theirs::uuid[]) as named) o
    where r.business_id = :business_id
      and (r.customer_id = :customer_id or (r.customer_id is null and (
           r.visit_id = any (:visit_ids::uuid[]) or r.property_id = any (:theirs::uuid[]))))
) h
order by h.place, h.id, h.noun;

-- name: list_held_of_worker
-- Where the worker was, what happened there, the own name where it was printed, and what came by the worker's keys.
-- Of colleagues nothing, and of what happened no words but the worker's own: they may name who was hurt.
with keys as (select k.id from api_key k where k.business_id = :business_id and k.worker_id = :worker_id),
visits as (select v.id, v.property_id, v.arrived_at, v.ended_at, v.worker_id from visit v
           where v.business_id = :business_id and (v.worker_id = :worker_id or :worker_id::uuid = any (v.with_worker_ids)))
select h.noun, h.id, h.data from (
    select 1 as place, 'worker' as noun, w.id::text as id, to_jsonb(w) - 'business_id' as data from worker w
    where w.business_id = :business_id and w.id = :worker_id
    union all
    select 2, 'api key', k.id::text, jsonb_build_object('name', k.name, 'scopes', k.scopes, 'last_four', k.last_four,
        'created_at', k.created_at, 'expires_at', k.expires_at, 'revoked_at', k.revoked_at) from api_key k
    where k.business_id = :business_id and k.worker_id = :worker_id
    union all
    select 3, 'visit', v.id::text, jsonb_build_object('property_id', v.property_id, 'arrived_at', v.arrived_at,
        'ended_at', v.ended_at, 'led', v.worker_id = :worker_id) from visits v
    union all
    select 4, 'incident', n.id::text, to_jsonb(n) - 'business_id' - case when exists (
            select from stated_version s where s.business_id = :business_id and s.noun = 'incident' and s.id = n.id
            and s.version = n.version and s.key_id in (select k.id from keys k)) then '{}'::text[]
        else '{description,measures}' end
    from incident n
    where n.business_id = :business_id and n.visit_id in (select v.id from visits v)
    union all
    select 5, 'service record', r.number || '.' || r.version, jsonb_build_object('worker_names', (
        select coalesce(jsonb_agg(x.name), '[]') from jsonb_array_elements_text(r.party->'worker_names') x (name)
        where x.name in (select s.body->>'name' from stated_version s where s.business_id = :business_id
                         and s.noun = 'worker' and s.id = :worker_id)))
    from service_record r
    where r.business_id = :business_id and r.party is not null and strpos(r.bytes, :worker_id::uuid::text) > 0
    union all
    select 6, 'sent visit, version ' || v.version, v.visit_id::text, jsonb_strip_nulls(jsonb_build_object(
        'received_at', v.received_at, 'key_id', v.key_id, 'amend_reason', v.amend_reason)) from visit_version v
    where v.business_id = :business_id and v.key_id in (select k.id from keys k)
    union all
    select 7, 'sent ' || replace(s.noun, '_', ' ') || ', version ' || s.version, s.id::text,
        jsonb_build_object('received_at', s.received_at, 'key_id', s.key_id) from stated_version s
    where s.business_id = :business_id and s.key_id in (select k.id from keys k)
    union all
    select 8, 'sent refused visit', f.id::text, jsonb_build_object('received_at', f.received_at, 'key_id', f.key_id)
    from refusal f where f.business_id = :business_id and f.key_id in (select k.id from keys k)
) h
order by h.place, h.id, h.noun;

-- name: list_past_keeping
-- Customers whose last tenure ended so many years ago, and workers who have been inactive for so long and did not work
-- since; by id, at most so many.
with kept as (select k.noun, k.years, (:now::timestamptz at time zone b.zone)::date - make_interval(years => k.years) as since_on,
                     b.zone
              from business b
              cross join lateral (values ('customer', (b.keep_years->>'customers')::int),
                                         ('worker', (b.keep_years->>'workers')::int)) k (noun, years)
              where b.business_id = :business_id and k.years is not null)
select c.id, k.noun, k.years from customer c
join kept k on k.noun = 'customer'
where c.business_id = :business_id and c.erased is null and c.id > :after_id::uuid
  and exists (select from tenure h where h.business_id = :business_id and h.customer_id = c.id)
  and not exists (select from tenure h where h.business_id = :business_id and h.customer_id = c.id
                  and (h.until_on is null or h.until_on > k.since_on))
union all
select w.id, k.noun, k.years from worker w
join kept k on k.noun = 'worker'
cross join lateral (select min(s.received_at) as gone_at from stated_version s
                    where s.business_id = :business_id and s.noun = 'worker' and s.id = w.id
                      and not exists (select from stated_version a
                                      where a.business_id = :business_id and a.noun = 'worker' and a.id = w.id
                                        and a.version >= s.version and a.body->>'active' is distinct from 'false')) g
where w.business_id = :business_id and w.erased is null and not w.active and w.id > :after_id::uuid
  and (g.gone_at at time zone k.zone)::date <= k.since_on
  and not exists (select from visit v join property p on p.business_id = :business_id and p.id = v.property_id
                  where v.business_id = :business_id and (v.worker_id = w.id or w.id = any (v.with_worker_ids))
                    and (v.ended_at at time zone p.zone)::date > k.since_on)
order by id
limit :most;
