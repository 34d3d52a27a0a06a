"""The form in which a statement carries its business, on real plans: small tables and large, a dozen runs each."""

from collections.abc import AsyncIterator, Awaitable, Callable
from uuid import UUID

import asyncpg
import pytest
import pytest_asyncio

from service.kernel.db import connect, open_pool
from service.kernel.sql import numbered
from tests.conftest import named, new_name

OURS, THEIRS, THIRD = UUID(int=1), UUID(int=2), UUID(int=3)
# PostgreSQL weighs a generic plan after five runs of a prepared statement (PREPARE, "Notes")
RUNS = 12

# tables of the test's own, under the very policy that the book's tables have
MAKE = """
    create table customer (business_id uuid, id uuid, name text, version int default 1, primary key (business_id, id));
    create table property (business_id uuid, id uuid, name text, primary key (business_id, id));
    create table tenure (business_id uuid, id uuid, property_id uuid, customer_id uuid, primary key (business_id, id));
    insert into customer (business_id, id, name)
    select lpad(b::text, 32, '0')::uuid, md5(b || '/' || n)::uuid, 'c' || n
    from generate_series(1, 3) b, generate_series(1, {rows}) n;
    insert into property select business_id, md5('p' || id)::uuid, name from customer;
    insert into tenure select business_id, md5('t' || id)::uuid, md5('p' || id)::uuid, id
    from customer where name like '%5';
    create index on tenure (business_id, customer_id);
    create index on tenure (business_id, property_id);
    analyze;
"""
PROTECT = """
    alter table {table} enable row level security;
    alter table {table} force row level security;
    create policy own_business on {table} to {role} using ({using}) with check ({check});
    grant select, insert, update, delete on {table} to {role};
"""

COUNT = "select count(*) from {table} where business_id = :business_id"

Run = Callable[..., Awaitable[list[asyncpg.Record]]]


@pytest.fixture(scope="module", params=[7, 70_000], ids=["20 rows", "200,000 rows"])
def rows(request: pytest.FixtureRequest) -> int:
    """How many customers each of three businesses has."""
    return int(request.param)


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def filled(rows: int, server: str, template: str) -> AsyncIterator[str]:
    """The name of a database with the filled tables."""
    name = new_name("filled")
    async with connect(server) as admin:
        await admin.execute(f"create database {name} template {template}")
    async with connect(named(server, name)) as owner:
        policy = await owner.fetchrow(
            "select qual, with_check, roles[1] as role from pg_policies "
            "where tablename = 'visit' and policyname = 'own_business'"
        )
        role = policy["role"]
        await owner.execute(
            f"create schema trial; grant usage on schema trial to {role}; set search_path = trial"
        )
        await owner.execute(MAKE.format(rows=rows))
        for table in ("customer", "property", "tenure"):
            await owner.execute(
                PROTECT.format(table=table, role=role, using=policy["qual"], check=policy["with_check"])
            )
    yield name
    async with connect(server) as admin:
        await admin.execute(f"drop database {name} with (force)")


@pytest.fixture
async def run(server: str, filled: str) -> AsyncIterator[Run]:
    """Run a block as the app, a dozen times on one connection with its prepared statement; the rows of the last."""
    name = new_name("trial")
    async with connect(server) as admin:
        await admin.execute(f"create database {name} template {filled} strategy file_copy")
    pool = await open_pool(named(server, name), "app", 1)
    async with pool.acquire() as connection:
        await connection.execute("set search_path = trial")

        async def execute(block: str, **values: object) -> list[asyncpg.Record]:
            query = numbered("block", block)
            found: list[asyncpg.Record] = []
            for _ in range(RUNS):
                found = await connection.fetch(query.text, *[values[name] for name in query.parameters])
                assert not await connection.fetchval("select current_setting('setbook.business_id', true)")
            return found

        yield execute
    await pool.close()
    async with connect(server) as admin:
        await admin.execute(f"drop database {name} with (force)")


async def count(run: Run, table: str, business_id: UUID) -> int:
    rows = await run(COUNT.format(table=table), business_id=business_id)
    return int(rows[0][0])


async def test_reads_see_their_own_business_whole_and_no_other(run: Run, rows: int) -> None:
    for business_id in (OURS, THEIRS):
        whole = (
            "select count(*), min(business_id::text) as least, max(business_id::text) as most from customer"
        )
        (seen,) = await run(f"{whole} where business_id = :business_id", business_id=business_id)
        assert dict(seen) == {"count": rows, "least": str(business_id), "most": str(business_id)}
        page = """
            select id from customer where business_id = :business_id and (:after::uuid is null or id > :after)
            order by id limit 5
        """
        first = [row["id"] for row in await run(page, business_id=business_id, after=None)]
        after = [row["id"] for row in await run(page, business_id=business_id, after=first[0])]
        assert len(first) == 5
        assert after[:4] == first[1:]
        point = "select id from customer where business_id = :business_id and id = :id"
        assert len(await run(point, business_id=business_id, id=first[0])) == 1
        assert await run(point, business_id=THIRD, id=first[0]) == []
        many = "select id from customer where business_id = :business_id and id = any(:ids::uuid[])"
        assert len(await run(many, business_id=business_id, ids=first)) == 5


async def test_joins_of_every_kind_find_what_is_there(run: Run, rows: int) -> None:
    held = 1 if rows == 7 else rows // 10
    inner = """
        select count(*) from customer c
        join tenure h on h.business_id = :business_id and h.customer_id = c.id
        join property p on p.business_id = :business_id and p.id = h.property_id
        where c.business_id = :business_id
    """
    assert (await run(inner, business_id=OURS))[0][0] == held
    left = """
        select count(*), count(h.id) as held from customer c
        left join tenure h on h.business_id = :business_id and h.customer_id = c.id
        where c.business_id = :business_id
    """
    (found,) = await run(left, business_id=OURS)
    assert dict(found) == {"count": rows, "held": held}
    nested = """
        select p.id, (select c.name from tenure h
                      join customer c on c.business_id = :business_id and c.id = h.customer_id
                      where h.business_id = :business_id and h.property_id = p.id) as holder
        from property p where p.business_id = :business_id
          and exists (select from tenure h where h.business_id = :business_id and h.property_id = p.id)
    """
    holders = await run(nested, business_id=THEIRS)
    assert len(holders) == held
    assert all(row["holder"].endswith("5") for row in holders)
    recursive = """
        with recursive step as (
            select 1 as n union all select n + 1 from step where n < 3
        ) select step.n, c.id from step join customer c on c.business_id = :business_id and c.name = 'c' || step.n
    """
    assert len(await run(recursive, business_id=OURS)) == 3
    gathered = """
        select json_agg(c.id) as ids from unnest(:names::text[]) n (name)
        left join lateral (select id from customer where business_id = :business_id and name = n.name) c on true
    """
    (gathering,) = await run(gathered, business_id=OURS, names=["c1", "c2"])
    assert len(gathering["ids"]) == 2
    assert None not in gathering["ids"]


async def test_writes_reach_their_own_business_and_no_other(run: Run, rows: int) -> None:
    values = """
        insert into customer (business_id, id, name) values (:business_id, gen_random_uuid(), 'new')
    """
    await run(values, business_id=OURS)
    assert await count(run, "customer", OURS) == rows + RUNS
    from_select = """
        insert into customer (business_id, id, name)
        select :business_id, gen_random_uuid(), n.name from unnest(:names::text[]) n (name) returning id
    """
    assert len(await run(from_select, business_id=OURS, names=["new", "new"])) == 2
    chained = """
        with one as (
            insert into customer (business_id, id, name)
            values (:business_id, gen_random_uuid(), 'new') returning id
        ), two as (
            insert into property (business_id, id, name)
            select :business_id, id, 'new' from one returning id
        )
        insert into tenure (business_id, id, property_id, customer_id)
        select :business_id, gen_random_uuid(), two.id, two.id from two returning id
    """
    assert len(await run(chained, business_id=OURS)) == 1
    update = (
        "update customer set name = 'newer' where business_id = :business_id and name = 'new' returning id"
    )
    upsert = """
        insert into customer (business_id, id, name)
        values (:business_id, :id, 'new')
        on conflict (business_id, id) do update set name = excluded.name returning id
    """
    assert len(await run(upsert, business_id=OURS, id=UUID(int=9))) == 1
    assert await count(run, "customer", OURS) == rows + 4 * RUNS + 1
    assert await run(update, business_id=THEIRS) == []
    assert (
        len(await run(update.replace("name = 'newer'", "version = version + 1"), business_id=OURS))
        == 4 * RUNS + 1
    )
    taken = "delete from tenure where business_id = :business_id returning id"
    held = 1 if rows == 7 else rows // 10
    before = await count(run, "tenure", THEIRS)
    assert before == held
    await run(taken, business_id=OURS)
    assert await count(run, "tenure", OURS) == 0
    assert await count(run, "tenure", THEIRS) == before


async def test_a_row_of_another_business_cannot_be_written(run: Run) -> None:
    smuggled = """
        with here as (select id from customer where business_id = :business_id limit 1)
        insert into customer (business_id, id, name) select :other, id, 'x' from here
    """
    with pytest.raises(asyncpg.InsufficientPrivilegeError):
        await run(smuggled, business_id=OURS, other=THEIRS)
    with pytest.raises(asyncpg.InsufficientPrivilegeError):
        await run(
            "update customer set business_id = :other where business_id = :business_id",
            business_id=OURS,
            other=THEIRS,
        )


async def test_without_its_predicate_a_statement_yields_nothing(run: Run) -> None:
    assert await run("select id from customer") == []
    assert await run("update customer set name = 'x' returning id") == []
