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

-- name: is_of_erased
-- Whether a customer who was erased held the property on a day of these instants, or that of the visit on the day of its
-- arrival; what nobody else ever held is theirs on every day.
select exists (
    select from tenure h
    join customer c on c.business_id = :business_id and c.id = h.customer_id and c.erased is not null
    join property p on p.business_id = :business_id and p.id = h.property_id
    left join visit v on v.business_id = :business_id and v.id = :visit_id::uuid and v.property_id = h.property_id
    where h.business_id = :business_id and (h.property_id = :property_id or v.id is not null)
      and (not exists (select from tenure o where o.business_id = :business_id and o.property_id = p.id
                       and o.customer_id <> h.customer_id)
           or exists (select from unnest(array_append(case when h.property_id = :property_id then :instants::timestamptz[]
                                                      end, v.arrived_at)) i (at)
                      where h.from_on <= (i.at at time zone p.zone)::date
                        and (h.until_on is null or h.until_on > (i.at at time zone p.zone)::date))));
