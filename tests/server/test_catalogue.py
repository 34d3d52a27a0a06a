"""What PostgreSQL's own catalogue says of the book: who owns, who may, and that no row is seen across businesses."""

from collections.abc import AsyncIterator

import asyncpg
import pytest

from service.kernel.db import connect

WORKERS = ("app", "clock", "courier")
# what clock and courier see of every business at once
SHARED = {"wake", "event", "endpoint", "endpoint_key", "delivery", "delivery_body", "counter", "work"}
# what belongs to the installation and not to a business
OF_NOBODY = {"installation", "migration", "signing_key"}

READ, ADD, AMEND, REMOVE = "SELECT", "INSERT", "UPDATE", "DELETE"
EVERYTHING = {READ, ADD, AMEND, REMOVE}
# told and issued things are never rewritten
OF_APP = {
    "event": {READ, ADD},
    "delivery_body": {READ},
    "visit_version": {READ, ADD},
    "stated_version": {READ, ADD},
    "fact_owner": {READ, ADD},
    "service_record": {READ, ADD},
    "month_seal": {READ, ADD},
    "billed": {READ, ADD},
    "deadline": {READ, ADD, AMEND},
    "visit": {READ, ADD, AMEND},
    "counter": {READ, ADD, AMEND},
    "installation": {READ},
    "migration": set(),
    "signing_key": {READ, ADD},
}
OF_CLOCK = {
    "wake": {READ, AMEND, REMOVE},
    "event": {READ, ADD},
    "counter": {READ, AMEND},
    "work": {READ, AMEND, REMOVE},
    "installation": {READ},
}
OF_COURIER = {
    "endpoint": {READ, AMEND},
    "endpoint_key": {READ},
    "delivery": {READ, ADD, AMEND},
    "delivery_body": {READ, ADD},
    "event": {READ, ADD},
    "counter": {READ, AMEND},
    "installation": {READ},
}

# what may change beside what is never rewritten: (role, table, column)
AMENDED_COLUMNS = {
    *(("app", "service_record", column) for column in ("party", "erased", "replaced_sequence")),
    *(("app", "visit_version", column) for column in ("body", "amend_reason")),
    ("app", "stated_version", "body"),
}

Connection = "asyncpg.Connection[asyncpg.Record]"


@pytest.fixture
async def owner(database: str) -> "AsyncIterator[asyncpg.Connection[asyncpg.Record]]":
    """A superuser's connection to a fresh book."""
    async with connect(database) as connection:
        yield connection


@pytest.fixture
async def prefix(owner: Connection) -> str:
    """What the roles' names begin with."""
    schema_owner = await owner.fetchval(
        "select nspowner::regrole::text from pg_namespace where nspname = 'setbook'"
    )
    return str(schema_owner).removesuffix("_migrator")


async def tables(owner: Connection) -> set[str]:
    rows = await owner.fetch("select tablename from pg_tables where schemaname = 'setbook'")
    return {row["tablename"] for row in rows}


async def test_every_table_belongs_to_a_business_by_its_key_or_is_named_here(owner: Connection) -> None:
    rows = await owner.fetch("""
        select c.relname, a.attname, a.attnotnull from pg_class c
        left join pg_index i on i.indrelid = c.oid and i.indisprimary
        left join pg_attribute a on a.attrelid = c.oid and a.attnum = i.indkey[0]
        where c.relnamespace = 'setbook'::regnamespace and c.relkind in ('r', 'p')
    """)
    leading = {row["relname"]: row["attname"] for row in rows}
    assert {name for name, column in leading.items() if column != "business_id"} == OF_NOBODY


async def test_row_security_is_forced_on_every_table_of_a_business(owner: Connection) -> None:
    rows = await owner.fetch("""
        select relname, relrowsecurity and relforcerowsecurity as forced from pg_class
        where relnamespace = 'setbook'::regnamespace and relkind in ('r', 'p')
    """)
    assert {row["relname"] for row in rows if not row["forced"]} == OF_NOBODY


async def test_the_policies_are_these_and_no_others(owner: Connection, prefix: str) -> None:
    rows = await owner.fetch("select * from pg_policies where schemaname = 'setbook'")
    found = {(row["tablename"], row["policyname"], frozenset(row["roles"]), row["cmd"]) for row in rows}
    own = frozenset({f"{prefix}_app"})
    every = frozenset({f"{prefix}_clock", f"{prefix}_courier"})
    assert found == {
        *((table, "own_business", own, "ALL") for table in await tables(owner) - OF_NOBODY),
        *((table, "every_business", every, "ALL") for table in SHARED),
    }
    for row in rows:
        assert row["permissive"] == "PERMISSIVE"
        if row["policyname"] == "own_business":
            assert row["qual"] == row["with_check"]
            assert "current_setting('setbook.business_id'" in row["qual"]
            # bare equality would be merged with the key's own predicate, and rows be missed in silence
            assert row["qual"].startswith("COALESCE(")


async def test_grants_are_these_and_no_others(owner: Connection, prefix: str) -> None:
    rows = await owner.fetch(
        "select grantee, table_name, privilege_type from information_schema.role_table_grants "
        "where table_schema = 'setbook' and grantee <> $1",
        f"{prefix}_migrator",
    )
    found: dict[tuple[str, str], set[str]] = {}
    for row in rows:
        found.setdefault((row["grantee"], row["table_name"]), set()).add(row["privilege_type"])
    expected = {(f"{prefix}_app", table): OF_APP.get(table, EVERYTHING) for table in await tables(owner)}
    expected |= {(f"{prefix}_clock", table): rights for table, rights in OF_CLOCK.items()}
    expected |= {(f"{prefix}_courier", table): rights for table, rights in OF_COURIER.items()}
    expected[f"{prefix}_app", "visit_job"] = {READ}
    assert found == {who: rights for who, rights in expected.items() if rights}


async def test_of_what_is_issued_only_what_stands_beside_it_may_be_amended(
    owner: Connection, prefix: str
) -> None:
    rows = await owner.fetch("""
        select c.relname, a.attname, x.grantee::regrole::text as grantee, x.privilege_type
        from pg_attribute a
        join pg_class c on c.oid = a.attrelid and c.relnamespace = 'setbook'::regnamespace
        cross join lateral aclexplode(a.attacl) x
    """)
    assert {row["privilege_type"] for row in rows} == {AMEND}
    found = {(row["grantee"], row["relname"], row["attname"]) for row in rows}
    assert found == {(f"{prefix}_{role}", table, column) for role, table, column in AMENDED_COLUMNS}


async def test_the_roles_that_work_own_nothing_bypass_nothing_and_are_members_of_nothing(
    owner: Connection, prefix: str
) -> None:
    for worker in WORKERS:
        role = f"{prefix}_{worker}"
        assert not await owner.fetchval(
            "select rolsuper or rolbypassrls or rolcanlogin or rolcreaterole or rolcreatedb or rolreplication "
            "from pg_roles where rolname = $1",
            role,
        )
        assert not await owner.fetchval(
            "select count(*) from pg_auth_members where member = $1::regrole", role
        )
        assert not await owner.fetchval(
            "select count(*) from pg_shdepend where refobjid = $1::regrole and deptype = 'o'", role
        )
        assert not await owner.fetchval("select has_schema_privilege($1, 'setbook', 'create')", role)
    owners = await owner.fetch("select distinct tableowner from pg_tables where schemaname = 'setbook'")
    assert [row["tableowner"] for row in owners] == [f"{prefix}_migrator"]


async def test_only_named_functions_run_with_the_owners_rights_on_a_fixed_path(
    owner: Connection, prefix: str
) -> None:
    rows = await owner.fetch("""
        select proname, proconfig, proacl::text as rights from pg_proc
        where pronamespace = 'setbook'::regnamespace and prosecdef
    """)
    assert [row["proname"] for row in rows] == ["key_row"]
    assert rows[0]["proconfig"] == ["search_path=setbook, pg_temp"]
    assert "{=" not in rows[0]["rights"]
    assert ",=" not in rows[0]["rights"]
    assert f"{prefix}_app=X" in rows[0]["rights"]


async def test_views_look_with_the_rights_of_whoever_asks(owner: Connection) -> None:
    rows = await owner.fetch(
        "select relname, reloptions from pg_class where relnamespace = 'setbook'::regnamespace and relkind = 'v'"
    )
    assert rows
    assert all("security_invoker=true" in (row["reloptions"] or []) for row in rows)


async def test_foreign_keys_between_rows_of_a_business_carry_the_business(owner: Connection) -> None:
    rows = await owner.fetch("""
        select conrelid::regclass::text as "table", conname,
               array(select attname from pg_attribute where attrelid = conrelid and attnum = any(conkey)) as columns,
               array(select attname from pg_attribute where attrelid = confrelid and attnum = any(confkey)) as theirs
        from pg_constraint where contype = 'f' and connamespace = 'setbook'::regnamespace
    """)
    assert rows
    for row in rows:
        assert "business_id" in row["columns"], row["conname"]
        assert "business_id" in row["theirs"], row["conname"]
