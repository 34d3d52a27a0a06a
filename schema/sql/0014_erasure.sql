-- 0014: persons can be erased: a tombstone stays, what was issued about them verifies on, and no text names them.

alter table customer add column erased jsonb;
alter table worker add column erased jsonb;
alter table service_record
    alter column party drop not null,
    -- {at, ground}: when the persons beside the record were erased, and why
    add column erased jsonb,
    add constraint service_record_party_or_erased check ((party is null) = (erased is not null));
-- years after the end of their last tenure; null: nobody is erased by itself
alter table business add column keep_personal_years int check (keep_personal_years between 1 and 100);

-- history is never rewritten, but for texts that are taken out of it
grant update (party, erased) on service_record to :prefix_app;
grant update (body) on stated_version to :prefix_app;
grant update (body, amend_reason) on visit_version to :prefix_app;
