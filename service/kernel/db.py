"""The database as the slices see it: one, maybe, many, run; rows come out as Structs."""

from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING, Any, TypeVar

import asyncpg
import msgspec

from service.kernel.errors import CannotStart, Missing
from service.kernel.sql import Query

if TYPE_CHECKING:
    Pool = asyncpg.Pool[asyncpg.Record]
else:
    # the class takes no type arguments at run time, when the framework reads the annotation
    Pool = asyncpg.Pool

S = TypeVar("S")

# what asyncpg raises where the database is away; the last, where a connection ends in the middle of a call
LOST = (OSError, asyncpg.PostgresError, asyncpg.InterfaceError, asyncpg.InternalClientError)
# and of these, what it raises for values that the database does not take, however often they are sent
UNFIT = (asyncpg.DataError, asyncpg.IntegrityConstraintViolationError)

# The courier's tables grow from nothing to a long backlog in seconds, before any statistics say so: with them as they
# were, or with a plan that was kept, it would read the whole backlog for each claim.
OF_ROLE = {"courier": {"enable_seqscan": "off"}}


class Db:
    """Statements on one connection (inside a transaction), or on a pool (each by itself)."""

    def __init__(self, runner: "asyncpg.Connection[asyncpg.Record] | asyncpg.Pool[asyncpg.Record]") -> None:
        """`runner` is what asyncpg runs statements on."""
        self.runner = runner

    async def many(self, of: type[S], query: Query, **values: object) -> list[S]:
        """All rows, each as `of`."""
        rows = await self.runner.fetch(query.text, *_ordered(query, values))
        return [msgspec.convert(row, of, strict=False, from_attributes=False) for row in map(dict, rows)]

    async def maybe(self, of: type[S], query: Query, **values: object) -> S | None:
        """The first row as `of`, or None."""
        row = await self.runner.fetchrow(query.text, *_ordered(query, values))
        return None if row is None else msgspec.convert(dict(row), of, strict=False)

    async def one(self, of: type[S], query: Query, **values: object) -> S:
        """The first row as `of`; none is Missing."""
        found = await self.maybe(of, query, **values)
        if found is None:
            raise Missing
        return found

    async def value(self, query: Query, **values: object) -> Any:
        """The first column of the first row, or None."""
        return await self.runner.fetchval(query.text, *_ordered(query, values))

    async def rows(self, query: Query, **values: object) -> list[Any]:
        """All rows as sequences of their columns, where they are so many that a Struct for each would tell."""
        return await self.runner.fetch(query.text, *_ordered(query, values))

    async def column(self, query: Query, **values: object) -> list[Any]:
        """The first column of every row."""
        return [row[0] for row in await self.runner.fetch(query.text, *_ordered(query, values))]

    def savepoint(self) -> Any:
        """A part of the transaction that is rolled back by itself where its block raises."""
        return self.runner.transaction()  # type: ignore[union-attr]

    async def run(self, query: Query, **values: object) -> None:
        """For the effect alone."""
        await self.runner.fetch(query.text, *_ordered(query, values))


def _ordered(query: Query, values: Mapping[str, object]) -> list[object]:
    if values.keys() != set(query.parameters):
        wrong = sorted(values.keys() ^ set(query.parameters))
        raise TypeError(f"{query.name} takes {query.parameters}; these differ: {wrong}")
    return [values[name] for name in query.parameters]


@asynccontextmanager
async def transaction(pool: Pool) -> AsyncIterator[Db]:
    """One transaction: committed where the block ends, rolled back where it raises."""
    async with pool.acquire() as connection, connection.transaction():
        yield Db(connection)  # type: ignore[arg-type]


async def prepare_connection(connection: "asyncpg.Connection[asyncpg.Record]") -> None:
    """json and jsonb travel as Python values."""
    for kind in ("json", "jsonb"):
        await connection.set_type_codec(
            kind, encoder=_encode, decoder=msgspec.json.decode, schema="pg_catalog", format="text"
        )


def _encode(value: object) -> str:
    return msgspec.json.encode(value).decode()


class PooledConnection(asyncpg.Connection):
    """A connection whose state is never changed by a statement: every setting is local to its transaction."""

    def get_reset_query(self) -> str:
        """Nothing to reset, so no round trip on release."""
        return ""


@asynccontextmanager
async def connect(url: str) -> AsyncIterator["asyncpg.Connection[asyncpg.Record]"]:
    """One connection as the login itself; CannotStart where the server does not answer."""
    try:
        connection = await asyncpg.connect(url, timeout=30)
    except (OSError, asyncpg.PostgresError, asyncpg.InterfaceError, ValueError, TimeoutError) as error:
        raise CannotStart(f"The database does not answer ({error}); check SETBOOK_DATABASE_URL.") from error
    try:
        yield connection
    finally:
        await connection.close()


async def role_prefix(connection: "asyncpg.Connection[asyncpg.Record]") -> str | None:
    """What the names of this database's roles begin with; None before its first migration."""
    owner = await connection.fetchval(
        "select pg_get_userbyid(nspowner)::text from pg_namespace where nspname = 'setbook'"
    )
    if owner is not None and not owner.endswith("_migrator"):
        raise CannotStart(f"Schema setbook belongs to {owner}, no role of Setbook's; use another database.")
    return None if owner is None else str(owner).removesuffix("_migrator")


async def open_pool(url: str, role: str, most: int) -> Pool:
    """A pool of up to `most` connections that works as `role` (app, clock or courier) in schema setbook."""
    async with connect(url) as connection:
        prefix = await role_prefix(connection)
    if prefix is None:
        raise CannotStart("The database holds no book yet; make one with: setbook migrate")
    try:
        return await asyncpg.create_pool(
            url,
            min_size=1,
            max_size=most,
            init=prepare_connection,
            connection_class=PooledConnection,
            max_inactive_connection_lifetime=0,
            server_settings={
                "role": f"{prefix}_{role}",
                "search_path": "setbook",
                "timezone": "UTC",
                "statement_timeout": "30000",
                "jit": "off",
            }
            | OF_ROLE.get(role, {}),
        )
    except (asyncpg.InsufficientPrivilegeError, asyncpg.InvalidParameterValueError) as error:
        raise CannotStart(
            f'The login may not become that role; as a superuser type: grant "{prefix}_{role}" to LOGIN;'
        ) from error
