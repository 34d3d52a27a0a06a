"""Migrations and roles on a real server: at once, again, ahead, changed, and by logins with few rights."""

import asyncio
from collections.abc import AsyncIterator
from urllib.parse import urlsplit

import asyncpg
import pytest

from service.kernel.db import connect, open_pool
from service.kernel.errors import CannotStart
from service.kernel.migrate import migrate, migrations
from tests.conftest import named, new_name

ROLES = ("migrator", "app", "clock", "courier")


@pytest.fixture
async def fresh(server: str) -> AsyncIterator[str]:
    """The URL of an empty database; its roles go with it."""
    name = new_name("fresh")
    async with connect(server) as admin:
        await admin.execute(f"create database {name}")
        yield named(server, name)
        await admin.execute(f"drop database {name} with (force)")
        for role in ROLES:
            await admin.execute(f"drop role if exists {name}_{role}")


@pytest.fixture
async def poor(server: str, fresh: str) -> AsyncIterator[str]:
    """The URL of the same database for a login without rights."""
    name = new_name("poor")
    async with connect(server) as admin:
        await admin.execute(f"create role {name} login password 'poor'")
        host = urlsplit(fresh).netloc.rpartition("@")[2]
        yield urlsplit(fresh)._replace(netloc=f"{name}:poor@{host}").geturl()
        async with connect(fresh) as owner:
            await owner.execute(f"drop owned by {name}")
        await admin.execute(f"drop role {name}")


async def value(url: str, statement: str) -> object:
    async with connect(url) as connection:
        return await connection.fetchval(statement)


async def test_many_at_once_and_again_apply_each_migration_once(fresh: str) -> None:
    await asyncio.gather(*[migrate(fresh) for _ in range(4)])
    epoch = await value(fresh, "select epoch from setbook.installation")
    await migrate(fresh)
    async with connect(fresh) as connection:
        applied = await connection.fetch("select number, name, sha256 from setbook.migration order by number")
    assert [tuple(row) for row in applied] == [(one.number, one.name, one.sha256) for one in migrations()]
    assert [one.number for one in migrations()] == list(range(1, len(applied) + 1))
    assert await value(fresh, "select epoch from setbook.installation") == epoch


async def test_a_copy_under_another_name_keeps_its_roles_and_gets_an_epoch_of_its_own(
    server: str, fresh: str
) -> None:
    await migrate(fresh)
    original = await value(fresh, "select epoch from setbook.installation")
    name = new_name("copy")
    async with connect(server) as admin:
        await admin.execute(f"create database {name} template {urlsplit(fresh).path[1:]}")
        await migrate(named(server, name))
        pool = await open_pool(named(server, name), "app", 1)
        assert await pool.fetchval("select current_user::text") == f"{urlsplit(fresh).path[1:]}_app"
        assert await pool.fetchval("select epoch from installation") != original
        await pool.close()
        own = await admin.fetch("select from pg_roles where rolname like $1", f"{name}\\_%")
        assert own == []
        await admin.execute(f"drop database {name} with (force)")


async def test_a_database_ahead_of_the_code_is_refused(fresh: str) -> None:
    await migrate(fresh)
    async with connect(fresh) as connection:
        await connection.execute("insert into setbook.migration values (9999, '9999_later.sql', '', now())")
    with pytest.raises(CannotStart, match=r"ahead of this Setbook .it has 9999_later.sql."):
        await migrate(fresh)


async def test_a_migration_that_was_changed_is_refused(fresh: str) -> None:
    await migrate(fresh)
    async with connect(fresh) as connection:
        await connection.execute("update setbook.migration set sha256 = '' where number = 1")
    with pytest.raises(CannotStart, match=r"0001_book.sql of this database is not the one in"):
        await migrate(fresh)


async def test_a_database_without_a_book_says_what_to_type(fresh: str) -> None:
    with pytest.raises(CannotStart, match="setbook migrate"):
        await open_pool(fresh, "app", 1)


async def test_a_login_without_rights_is_told_the_lines_that_a_superuser_types(fresh: str, poor: str) -> None:
    with pytest.raises(CannotStart) as refused:
        await migrate(poor)
    sentence, _, lines = str(refused.value).partition(" type: ")
    assert "may not make" in sentence
    async with connect(fresh) as superuser:
        await superuser.execute(lines)
    await migrate(poor)
    for role in ("app", "clock", "courier"):
        pool = await open_pool(poor, role, 1)
        assert str(await pool.fetchval("select current_user::text")).endswith(f"_{role}")
        await pool.close()


async def test_a_login_that_may_not_become_a_role_is_told_the_line_that_a_superuser_types(
    fresh: str, poor: str
) -> None:
    await migrate(fresh)
    with pytest.raises(CannotStart) as refused:
        await open_pool(poor, "app", 1)
    line = str(refused.value).partition(" type: ")[2]
    async with connect(fresh) as superuser:
        await superuser.execute(line.replace("LOGIN", urlsplit(poor).username or ""))
    pool = await open_pool(poor, "app", 1)
    assert await pool.fetch("select * from business") == []
    await pool.close()


async def test_a_server_that_does_not_answer_is_one_sentence(server: str) -> None:
    with pytest.raises(CannotStart, match=r"does not answer.*SETBOOK_DATABASE_URL"):
        await migrate(named(server, "no_such_database"))
    with pytest.raises(CannotStart, match=r"does not answer.*SETBOOK_DATABASE_URL"):
        await migrate("postgresql://nobody@127.0.0.1:1/none")


async def test_a_migration_that_others_hold_up_gives_up_and_says_so(
    fresh: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    await migrate(fresh)
    async with connect(fresh) as other, other.transaction():
        await other.execute("lock table setbook.migration")
        with monkeypatch.context() as impatient:
            impatient.setattr("service.kernel.migrate.PATIENCE", "100ms")
            with pytest.raises(CannotStart, match=r"holds a lock that the migration needs"):
                await migrate(fresh)
    await migrate(fresh)


async def test_the_roles_bypass_nothing_own_nothing_and_are_asked_for_by_name(fresh: str) -> None:
    await migrate(fresh)
    name = urlsplit(fresh).path[1:]
    async with connect(fresh) as connection:
        rows = await connection.fetch(
            "select rolname, rolbypassrls, rolsuper, rolcanlogin, rolcreaterole, rolcreatedb from pg_roles "
            "where rolname like $1 order by 1",
            f"{name}\\_%",
        )
        assert [tuple(row) for row in rows] == [
            (f"{name}_app", False, False, False, False, False),
            (f"{name}_clock", False, False, False, False, False),
            (f"{name}_courier", False, False, False, False, False),
            (f"{name}_migrator", True, False, False, False, False),
        ]
        await connection.execute(f"alter role {name}_app bypassrls")
    await migrate(fresh)
    async with connect(fresh) as connection:
        assert not await connection.fetchval(
            "select rolbypassrls from pg_roles where rolname = $1", f"{name}_app"
        )


@pytest.mark.parametrize("odd", ["My Book", "a" * 63, "1st-book", 'q"uote', "percent%s"])
async def test_a_database_of_any_name_gets_its_book(server: str, odd: str) -> None:
    quoted = '"' + odd.replace('"', '""') + '"'
    url = named(server, odd.replace("%", "%25").replace(" ", "%20").replace('"', "%22"))
    async with connect(server) as admin:
        await admin.execute(f"create database {quoted}")
        try:
            await migrate(url)
            pool = await open_pool(url, "app", 1)
            role = str(await pool.fetchval("select current_user::text"))
            await pool.close()
        finally:
            await admin.execute(f"drop database {quoted} with (force)")
        for one in ROLES:
            await admin.execute(f'drop role "{role.removesuffix("_app")}_{one}"')


async def test_no_other_user_of_the_server_reaches_the_book(fresh: str, poor: str) -> None:
    await migrate(fresh)
    with pytest.raises(asyncpg.InsufficientPrivilegeError):
        await value(poor, "select count(*) from setbook.business")
