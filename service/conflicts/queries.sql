-- name: replace_conflicts
-- The conflicts of these subjects become exactly the given ones; a row that stays keeps its id and place.
with given as (
    select g.id, g.kind, g.subject_id, g.property_id, g.visit_id, g.fact_id, g.sentence
    from jsonb_to_recordset(:conflicts::jsonb) as g (
        id uuid, kind text, subject_id uuid, property_id uuid, visit_id uuid, fact_id uuid, sentence text
    )
), gone as (
    delete from conflict c
    where c.business_id = :business_id and c.noun = :noun and c.subject_id = any(:subject_ids::uuid[])
      and not exists (select from given g where g.id = c.id)
)
insert into conflict (business_id, id, kind, noun, subject_id, property_id, visit_id, fact_id, sentence)
select :business_id, g.id, g.kind, :noun, g.subject_id, g.property_id, g.visit_id, g.fact_id, g.sentence
from given g
on conflict (business_id, id) do update
set property_id = excluded.property_id, visit_id = excluded.visit_id, sentence = excluded.sentence;

-- name: list_conflicts
select c.id, c.kind, c.noun, c.subject_id, c.property_id, c.visit_id, c.fact_id, c.sentence from conflict c
where c.business_id = :business_id and c.id > :after_id::uuid
  and (:property_id::uuid is null or c.property_id = :property_id)
  and (:visit_id::uuid is null or c.visit_id = :visit_id)
  and (:subject_id::uuid is null or c.subject_id = :subject_id)
order by c.id limit :most;
