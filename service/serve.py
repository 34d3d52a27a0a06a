"""`setbook serve`: one role in this process, or all of them as children of a light supervisor.

A role's own modules are imported where it runs: the supervisor needs none of them and is up in a moment.
"""
# ruff: noqa: PLC0415

import asyncio
import ctypes
import logging
import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Coroutine, Iterator
from contextlib import ExitStack, contextmanager
from functools import partial
from types import FrameType
from typing import Any, NoReturn

from service.events.addresses import PORTS, Reach
from service.kernel.db import open_pool
from service.kernel.errors import CannotStart
from service.kernel.migrate import migrate
from service.kernel.now import utc_now
from service.server.embedded import running
from service.settings import Settings, read_settings, sealing_key

log = logging.getLogger("setbook")

# In this order they start, and in this order they stop.
ROLES = ("api", "clock", "courier")

PAUSE_SECONDS = 1.0
STOP_SECONDS = 15.0
API_CONNECTIONS = 17  # one of them listens to the log
CLOCK_CONNECTIONS = 2
WORK_CONNECTIONS = 4
COURIER_CONNECTIONS = 4
COURIER_OBJECTS = 10_000  # made before the collector looks at the young ones
PR_SET_PDEATHSIG = 1


def serve(settings: Settings, role: str | None) -> None:
    """Serve until a signal to stop; raises CannotStart where it cannot."""
    if role is None:
        serve_all(settings)
    elif settings.database_url is None:
        raise CannotStart(
            "A single role needs a named server: set SETBOOK_DATABASE_URL, or start all with: setbook serve"
        )
    elif role == "api":
        serve_api(settings, settings.database_url)
    else:
        import uvloop

        runner = run_clock if role == "clock" else run_courier
        with asyncio.Runner(loop_factory=uvloop.new_event_loop) as loop:
            loop.run(until_stopped(partial(runner, settings, settings.database_url)))


def serve_all(settings: Settings) -> None:
    """PostgreSQL where none is named, migrations, then a process for each role, started anew when it dies."""
    with stopped_by_signals(), ExitStack() as stack:
        check_address(settings)
        url, database = settings.database_url, None
        if url is None:
            server = stack.enter_context(running(settings.data))
            url, database = server.url, server.process
        sealing_key(settings)
        asyncio.run(migrate(url))
        log.info(
            "http://%s:%d answers soon; data is in %s", settings.host, settings.port, settings.data.absolute()
        )
        watch(url, database)


@contextmanager
def stopped_by_signals() -> Iterator[None]:
    """The block ends in peace at the first signal to stop; further ones do not disturb its end."""
    signals = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)

    def stop(_number: int, _frame: FrameType | None) -> NoReturn:
        for one in signals:
            signal.signal(one, signal.SIG_IGN)
        raise KeyboardInterrupt

    for one in signals:
        signal.signal(one, stop)
    try:
        yield
    except KeyboardInterrupt:
        log.info("stopped")


def watch(url: str, database: "subprocess.Popen[bytes] | None") -> None:
    """Keep a process of each role alive until a signal, or until PostgreSQL is gone."""
    children: dict[str, subprocess.Popen[bytes]] = {}
    restarted: set[str] = set()
    try:
        for role in ROLES:
            children[role] = start(role, url)
        while True:
            # any child, PostgreSQL too; left for Popen to collect
            os.waitid(os.P_ALL, 0, os.WEXITED | os.WNOWAIT)
            if database is not None and database.poll() is not None:
                raise CannotStart("PostgreSQL has ended by itself; see postgresql.log in its folder.")
            for role in [role for role, child in children.items() if child.poll() is not None]:
                code = children[role].returncode
                if code == os.EX_CONFIG and role not in restarted:
                    # it has said itself what is wrong
                    sys.exit(code)
                log.error("the process of role %s has ended (%d) and is started again", role, code)
                threading.Event().wait(PAUSE_SECONDS)
                restarted.add(role)
                children[role] = start(role, url)
    finally:
        for child in children.values():
            stop(child)


def start(role: str, url: str) -> "subprocess.Popen[bytes]":
    """A process for the role, out of reach of a Ctrl-C at the terminal, that ends when this one does."""
    return subprocess.Popen(  # noqa: S603 - ourselves
        [sys.executable, "-m", "service", "serve", "--role", role],
        env={**os.environ, "SETBOOK_DATABASE_URL": url},
        start_new_session=True,
        preexec_fn=partial(end_with, os.getpid()),  # noqa: PLW1509 - this process has no other threads
    )


def stop(child: "subprocess.Popen[bytes]") -> None:
    """Ask the process to end, and end it where it does not in good time."""
    child.terminate()
    try:
        child.wait(STOP_SECONDS)
    except subprocess.TimeoutExpired:
        child.kill()
        child.wait()


def end_with(parent: int) -> None:
    """Have the kernel end this process when its parent ends, however that happens (Linux: prctl(2))."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGTERM)
        if os.getppid() != parent:
            os.kill(os.getpid(), signal.SIGTERM)


def serve_api(settings: Settings, url: str) -> None:
    """Granian with one worker; what would fail there is found out here, where one sentence can say it."""
    from granian import Granian
    from granian.constants import HTTPModes, Interfaces, Loops

    from service.signatures.keyring import check_key

    check_address(settings)

    async def check() -> None:
        async with await open_pool(url, "app", 1) as pool:
            await check_key(pool, sealing_key(settings))

    asyncio.run(check())
    Granian(
        "service.serve:api",
        factory=True,
        address=settings.host,
        port=settings.port,
        interface=Interfaces.ASGI,
        http=HTTPModes.http1,
        loop=Loops.uvloop,
        websockets=False,
        log_enabled=False,
        workers_kill_timeout=int(STOP_SECONDS) - 5,
        respawn_failed_workers=True,
    ).serve()


def check_address(settings: Settings) -> None:
    """Raise CannotStart where nothing can listen there."""
    try:
        socket.create_server((settings.host, settings.port)).close()
    except OSError as error:
        raise CannotStart(
            f"Nothing can listen at {settings.host}:{settings.port} ({error.strerror}); "
            "choose another with: setbook serve --host HOST --port PORT"
        ) from error


def api() -> Any:
    """The API on a pool of its own: made by Granian in the worker, on the worker's loop."""
    from service.app import create_app
    from service.events.bell import toll

    end_with(os.getppid())
    settings = read_settings(os.environ)
    loop = asyncio.get_event_loop()
    pool = loop.run_until_complete(open_pool(str(settings.database_url), "app", API_CONNECTIONS))
    epoch = loop.run_until_complete(pool.fetchval("select epoch from installation"))
    app = create_app(pool, epoch, sealing_key(settings), settings.public_url, reach_of(settings))
    tolling = loop.create_task(toll(app.state.bell, pool))

    async def when_up() -> None:
        loop.add_signal_handler(signal.SIGTERM, stop_worker, app.state.bell.stop)

    async def when_idle() -> None:
        tolling.cancel()
        await asyncio.gather(tolling, return_exceptions=True)
        await pool.close()

    app.on_startup.append(when_up)
    app.on_shutdown.append(when_idle)
    return app


def stop_worker(end_waits: Callable[[], None]) -> None:
    """Granian waits for all answers under way, so those that only wait are ended first; it takes SIGINT for SIGTERM."""
    end_waits()
    os.kill(os.getpid(), signal.SIGINT)


async def until_stopped(runner: Callable[[asyncio.Event], Coroutine[Any, Any, None]]) -> None:
    """Run with an event that a signal to stop sets."""
    stopped = asyncio.Event()
    for one in (signal.SIGTERM, signal.SIGINT):
        asyncio.get_running_loop().add_signal_handler(one, stopped.set)
    await runner(stopped)


async def run_clock(settings: Settings, url: str, stopped: asyncio.Event) -> None:
    """The clock claims as the clock, and does the work of a business as the app; first it looks at the rules."""
    from service.clock import wake
    from service.methods.rules import shipped_file
    from service.packs.actions import note_rules, rules_digest
    from service.signatures.keyring import check_key

    async with await open_pool(url, "migrator", 1) as pool:
        await note_rules(pool, utc_now(), rules_digest(shipped_file()))
    clock_pool = await open_pool(url, "clock", CLOCK_CONNECTIONS)
    app_pool = await open_pool(url, "app", WORK_CONNECTIONS)
    async with clock_pool, app_pool:
        await check_key(app_pool, sealing_key(settings))
        await wake.run(clock_pool, app_pool, sealing_key(settings), stopped)


async def run_courier(settings: Settings, url: str, stopped: asyncio.Event) -> None:
    """The courier sends what was told, on as many connections as the system lets it have."""
    import gc
    import resource

    from service.events import ticks as courier

    # Else all that was imported is gone through again and again, while deliveries wait.
    gc.freeze()
    gc.set_threshold(COURIER_OBJECTS)
    _, most = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (most, most))
    async with await open_pool(url, "courier", COURIER_CONNECTIONS) as pool:
        await courier.run(pool, sealing_key(settings), settings.public_url, reach_of(settings), stopped)


def reach_of(settings: Settings) -> Reach:
    """How far deliveries go: what the operator opened, and what is open anyway."""
    return Reach(settings.endpoint_networks, PORTS | settings.endpoint_ports)
