"""Names are looked up as the machine does it, each in a thread of its own."""

import asyncio
import socket
from concurrent.futures import ThreadPoolExecutor
from functools import partial

from aiohttp.abc import AbstractResolver, ResolveResult

# A name whose server is silent holds its thread for ten seconds and more, whoever still waits for it. The loop's own
# way to look up has two to six threads, so that as many silent names would stop all deliveries.
MOST_LOOKUPS = 256


class SystemNames(AbstractResolver):
    """Asks the machine (getaddrinfo) for the addresses of a name; remembers nothing."""

    def __init__(self) -> None:
        """Threads come with the lookups that need them."""
        self._threads = ThreadPoolExecutor(MOST_LOOKUPS, "names")

    async def resolve(
        self, host: str, port: int = 0, family: socket.AddressFamily = socket.AF_INET
    ) -> list[ResolveResult]:
        """All addresses of the name; OSError where it has none."""
        look_up = partial(
            socket.getaddrinfo, host, port, family, socket.SOCK_STREAM, flags=socket.AI_ADDRCONFIG
        )
        found = await asyncio.get_running_loop().run_in_executor(self._threads, look_up)
        return [
            ResolveResult(
                hostname=host,
                host=str(address[0]),
                port=port,
                family=kind,
                proto=protocol,
                flags=socket.AI_NUMERICHOST | socket.AI_NUMERICSERV,
            )
            for kind, _, protocol, _, address in found
        ]

    async def close(self) -> None:
        """What is being looked up is left to end by itself."""
        self._threads.shutdown(wait=False, cancel_futures=True)
