-- 0015: the file of one property is read without reading the records of all others of its business.
create index service_record_by_property on service_record (business_id, property_id, service_on);
