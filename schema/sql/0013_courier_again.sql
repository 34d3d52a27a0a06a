-- 0013: the courier: what happens to a delivery raises its fence.

-- Claims, outcomes, hand-backs and replays each raise it, and none lowers it: a courier's word counts while the fence
-- stands as its claim left it. `attempt` counts tries, and a claim that was not sent is none.
alter table delivery add column fence int not null default 0;
