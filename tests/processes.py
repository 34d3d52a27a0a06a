"""Setbook as real processes, and how they die: one by one, or all at once."""

import asyncio
import os
import signal
import tempfile
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from contextlib import asynccontextmanager, contextmanager, suppress
from pathlib import Path

from fixtures.running import started

REPOSITORY = Path(__file__).parents[1]
PATIENCE_SECONDS = 120

Process = asyncio.subprocess.Process


@contextmanager
def data_folder() -> Iterator[Path]:
    """A folder that PostgreSQL's user may enter too."""
    with tempfile.TemporaryDirectory(prefix="setbook-faults-") as name:
        Path(name).chmod(0o711)
        yield Path(name)


@asynccontextmanager
async def setbook(log: Path, *arguments: str, **environment: str) -> AsyncIterator[Process]:
    """A `setbook` that has ended when the block ends; what it says goes into `log`."""
    with log.open("ab") as written:
        async with started(*arguments, output=written.fileno(), **environment) as process:
            yield process


def family(pid: int) -> dict[int, str]:
    """The process and all below it that live, with their command lines (Linux: /proc)."""
    found: dict[int, str] = {}
    # some end while they are read
    with suppress(FileNotFoundError, ProcessLookupError):
        found[pid] = Path(f"/proc/{pid}/cmdline").read_text().replace("\0", " ")
        for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split():
            found |= family(int(child))
    return found


def lives(pid: int) -> bool:
    """Whether the process runs; one that ended and was not waited for has no folder any more."""
    return Path(f"/proc/{pid}/cwd").exists()


async def kill_all(process: Process, *, with_postgresql: bool) -> None:
    """SIGKILL for the supervisor and its children, and for PostgreSQL where that is asked for; none says goodbye."""
    dying: list[int] = []
    for pid, command in family(process.pid).items():
        if with_postgresql or "postgres" not in command:
            with suppress(ProcessLookupError):
                dying.append(os.pidfd_open(pid))
    for one in dying:
        with suppress(ProcessLookupError):
            signal.pidfd_send_signal(one, signal.SIGKILL)
    for one in dying:
        await end_of(one)
    await process.wait()


async def end_of(process_fd: int) -> None:
    """A process's descriptor can be read from when it has ended (pidfd_open(2)); then it is closed."""
    ended = asyncio.Event()
    loop = asyncio.get_running_loop()
    loop.add_reader(process_fd, ended.set)
    async with asyncio.timeout(PATIENCE_SECONDS):
        await ended.wait()
    loop.remove_reader(process_fd)
    os.close(process_fd)


async def until(holds: Callable[[], Awaitable[bool]], process: Process) -> None:
    """Wait for something that nobody tells of: asked again and again, while `process` lives."""
    async with asyncio.timeout(PATIENCE_SECONDS):
        while not await holds():
            try:
                await asyncio.wait_for(process.wait(), 0.02)
            except TimeoutError:
                continue
            raise AssertionError(f"the process has ended with {process.returncode}")
