"""Migrations: the files schema/sql/NNNN_name.sql, applied in order and forward only, and the roles they need.

The files lie beside the package in the checkout that the service runs from.
"""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path

import asyncpg
from msgspec import Struct

from service.kernel.db import connect, role_prefix
from service.kernel.errors import CannotStart
from service.kernel.ids import new_id
from service.kernel.now import utc_now

FOLDER = Path(__file__).parents[2] / "schema/sql"
OLDEST = 15
# Before it, a member of a role may always become it, and no more can be said of it.
FIRST_WITH_SET = 16
WORKERS = ("app", "clock", "courier")

# PostgreSQL shows the session that waits for an advisory lock by this number; any number would do.
LOCK = 5_831_527

# How long a migration may wait for a table: all who come after it wait too.
PATIENCE = "5s"

_TOKEN = re.compile(r":prefix_([a-z]+)")


class Migration(Struct, frozen=True):
    """One file, with its digest as it is noted in the database."""

    number: int
    name: str
    text: str
    sha256: bytes


def migrations() -> list[Migration]:
    """All files, in the order of their numbers."""
    found = []
    for path in sorted(FOLDER.glob("[0-9][0-9][0-9][0-9]_*.sql")):
        data = path.read_bytes()
        found.append(Migration(int(path.name[:4]), path.name, data.decode(), sha256(data).digest()))
    return found


async def migrate(url: str) -> None:
    """Bring the database up to this code, however many processes try at once.

    Raises CannotStart where the server is too old, the database is ahead of the code or differs from it, or
    the login may not make the roles.
    """
    async with connect(url) as connection:
        version = connection.get_server_version().major
        if version < OLDEST:
            raise CannotStart(
                f"This is PostgreSQL {version} and Setbook needs {OLDEST} or newer; upgrade the server."
            )
        with _sentences():
            prefix = await _prepare(connection)
            while await _apply_next(connection, prefix):
                pass
            await _note_installation(connection, prefix)


@contextmanager
def _sentences() -> Iterator[None]:
    try:
        yield
    except asyncpg.LockNotAvailableError as error:
        raise CannotStart(
            "Another process holds a lock that the migration needs; start again when it is done."
        ) from error


async def _prepare(connection: "asyncpg.Connection[asyncpg.Record]") -> str:
    """Make what is missing of roles, grants and schema, and return the prefix of the roles' names.

    Roles belong to the whole server, so their names carry that of the database at its first migration.
    """
    async with connection.transaction():
        await _take_turns(connection)
        prefix = await role_prefix(connection)
        if prefix is None:
            name = await connection.fetchval("select current_database()")
            prefix = re.sub(r"[^a-z0-9_]", "_", name.lower())[:40]
        needed = await _needed(connection, prefix)
        try:
            for statement in needed:
                await connection.execute(statement)
        except asyncpg.InsufficientPrivilegeError as error:
            raise CannotStart(
                "The login may not make Setbook's roles and schema; "
                f"as a superuser, in this database, type: {'; '.join(needed)};"
            ) from error
        await _become_migrator(connection, prefix)
        await connection.execute(
            "create table if not exists migration (number int primary key, name text not null, "
            "sha256 bytea not null, applied_at timestamptz not null)"
        )
    return str(prefix)


async def _needed(connection: "asyncpg.Connection[asyncpg.Record]", prefix: str) -> list[str]:
    """The statements that are still to be run before the first migration."""
    attributes = {f"{prefix}_migrator": "bypassrls"} | {
        f"{prefix}_{worker}": "nobypassrls" for worker in WORKERS
    }
    newer = connection.get_server_version().major >= FIRST_WITH_SET
    rows = await connection.fetch(
        "select rolname, rolbypassrls, pg_has_role(session_user, oid, $2) as ours "
        "from pg_roles where rolname = any($1)",
        list(attributes),
        "SET" if newer else "MEMBER",
    )
    known = {row["rolname"]: row for row in rows}
    login = await connection.fetchval("select quote_ident(session_user)")
    superuser = await connection.fetchval("select rolsuper from pg_roles where rolname = session_user")
    needed = []
    for role, attribute in attributes.items():
        if role not in known:
            needed.append(f'create role "{role}" nologin {attribute}')
        elif known[role]["rolbypassrls"] != (attribute == "bypassrls"):
            needed.append(f'alter role "{role}" {attribute}')
        if not (known[role]["ours"] if role in known else superuser):
            needed.append(f'grant "{role}" to {login}' + " with set true, inherit false" * newer)
    if not await connection.fetchval("select exists (select from pg_namespace where nspname = 'setbook')"):
        needed.append(f'create schema setbook authorization "{prefix}_migrator"')
    return needed


async def _apply_next(connection: "asyncpg.Connection[asyncpg.Record]", prefix: str) -> bool:
    """Apply the first migration that the database lacks, in one transaction; False where it lacks none."""
    async with connection.transaction():
        await _take_turns(connection)
        await _become_migrator(connection, prefix)
        rows = await connection.fetch("select number, name, sha256 from migration order by number")
        files = migrations()
        _check_history(rows, files)
        if len(rows) == len(files):
            return False
        migration = files[len(rows)]
        await connection.execute(_TOKEN.sub(rf'"{prefix}_\1"', migration.text))
        await connection.execute(
            "insert into migration (number, name, sha256, applied_at) values ($1, $2, $3, $4)",
            migration.number,
            migration.name,
            migration.sha256,
            utc_now(),
        )
    return True


def _check_history(rows: list[asyncpg.Record], files: list[Migration]) -> None:
    """Raise CannotStart unless what was applied is how our own files begin."""
    for row, file in zip(rows, files, strict=False):
        if (row["number"], row["sha256"]) != (file.number, file.sha256):
            raise CannotStart(
                f"Migration {row['name']} of this database is not the one in {FOLDER}; "
                "start the Setbook that made the database, or start this one with an empty database."
            )
    if len(rows) > len(files):
        raise CannotStart(
            f"This database is ahead of this Setbook (it has {rows[-1]['name']}); start the one that made it."
        )


async def _take_turns(connection: "asyncpg.Connection[asyncpg.Record]") -> None:
    """Wait until this is the only process that migrates the database; then wait for nobody long."""
    await connection.execute("set local lock_timeout = '60s'; set local statement_timeout = '15min'")
    await connection.execute(f"select pg_advisory_xact_lock({LOCK})")
    await connection.execute(f"set local lock_timeout = '{PATIENCE}'")


async def _become_migrator(connection: "asyncpg.Connection[asyncpg.Record]", prefix: str) -> None:
    await connection.execute(f'set local role "{prefix}_migrator"; set local search_path = setbook')


async def _note_installation(connection: "asyncpg.Connection[asyncpg.Record]", prefix: str) -> None:
    """A database that was restored or copied gets a new epoch, which voids the cursors of the other."""
    identifier = await connection.fetchval("select system_identifier::text from pg_control_system()")
    async with connection.transaction():
        await _become_migrator(connection, prefix)
        await connection.execute(
            """
            insert into installation (epoch, system_identifier, database_oid)
            select $1, $2, oid::bigint from pg_database where datname = current_database()
            on conflict (only_row) do update
            set epoch = excluded.epoch, system_identifier = excluded.system_identifier,
                database_oid = excluded.database_oid
            where (installation.system_identifier, installation.database_oid)
                is distinct from (excluded.system_identifier, excluded.database_oid)
            """,
            new_id(),
            identifier,
        )
