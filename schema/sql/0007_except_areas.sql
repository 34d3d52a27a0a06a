-- 0007: a text may hold in all of a region but some areas, where another one speaks.
alter table rule_pack add column except_areas text[] not null default '{}';
