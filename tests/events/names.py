"""A name server on loopback (DNS over UDP, RFC 1035) whose answers may change, and a resolver that asks it."""

import asyncio
import itertools
import socket
import struct
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from ipaddress import IPv4Address, IPv6Address, ip_address

from aiohttp.abc import AbstractResolver, ResolveResult

A, AAAA = 1, 28
KINDS = {socket.AF_INET: [A], socket.AF_INET6: [AAAA], socket.AF_UNSPEC: [A, AAAA]}
FAMILIES = {4: socket.AF_INET, 6: socket.AF_INET6}
QUERY, RESPONSE = 0x0100, 0x8180  # recursion wanted; an answer to that, recursion available, no error
HEADER, RECORD = struct.Struct(">HHHHHH"), struct.Struct(">HHHIH")
NAME_OF_QUESTION = 0xC00C
MOST_BYTES = 65_535


@dataclass
class Names(asyncio.DatagramProtocol):
    """Gives the lists in `answers` in turn, the last for ever; of each, A or AAAA as asked, not to be kept."""

    answers: list[list[str]]
    address: tuple[str, int] = ("", 0)
    asked: list[tuple[str, int]] = field(default_factory=list)

    def connection_made(self, transport: asyncio.DatagramTransport) -> None:  # type: ignore[override]
        """Where answers leave."""
        self.transport = transport
        self.address = transport.get_extra_info("sockname")

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        """Answer a question for addresses."""
        number, question = HEADER.unpack_from(data)[0], data[HEADER.size :]
        *_, kind, _ = struct.unpack(f">{len(question) - 4}sHH", question)
        self.asked.append((name_in(question), kind))
        turn = min(sum(each == kind for _, each in self.asked), len(self.answers)) - 1
        found = [one for one in map(ip_address, self.answers[turn]) if KINDS[FAMILIES[one.version]] == [kind]]
        records = b"".join(
            RECORD.pack(NAME_OF_QUESTION, kind, 1, 0, len(one.packed)) + one.packed for one in found
        )
        answer = HEADER.pack(number, RESPONSE, 1, len(found), 0, 0) + question + records
        self.transport.sendto(answer, addr)


def name_in(question: bytes) -> str:
    """Labels, each after its length, up to an empty one."""
    labels, place = [], 0
    while length := question[place]:
        labels.append(question[place + 1 : place + 1 + length].decode())
        place += 1 + length
    return ".".join(labels)


def question_of(name: str, kind: int) -> bytes:
    """The same the other way round, with what is asked for."""
    labels = b"".join(bytes([len(label)]) + label.encode() for label in name.split("."))
    return labels + b"\0" + struct.pack(">HH", kind, 1)


def addresses_in(answer: bytes, question: bytes) -> Iterator[IPv4Address | IPv6Address]:
    """What stands behind the question that the answer repeats."""
    place, count = HEADER.size + len(question), HEADER.unpack_from(answer)[3]
    assert answer[HEADER.size : place] == question
    for _ in range(count):
        *_, length = RECORD.unpack_from(answer, place)
        place += RECORD.size + length
        yield ip_address(answer[place - length : place])


class Resolver(AbstractResolver):
    """What aiohttp asks for addresses; remembers nothing."""

    def __init__(self, names: Names) -> None:
        self.names = names
        self.numbers = itertools.count(1)

    async def resolve(self, host: str, port: int = 0, family: int = socket.AF_INET) -> list[ResolveResult]:
        """All addresses of those kinds."""
        found = [one for kind in KINDS[socket.AddressFamily(family)] for one in await self._ask(host, kind)]
        return [
            ResolveResult(
                hostname=host, host=str(one), port=port, family=FAMILIES[one.version], proto=0, flags=0
            )
            for one in found
        ]

    async def _ask(self, host: str, kind: int) -> list[IPv4Address | IPv6Address]:
        loop, number, question = asyncio.get_running_loop(), next(self.numbers), question_of(host, kind)
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
            asking.setblocking(False)
            query = HEADER.pack(number, QUERY, 1, 0, 0, 0) + question
            await loop.sock_sendto(asking, query, self.names.address)
            answer = await loop.sock_recv(asking, MOST_BYTES)
        assert HEADER.unpack_from(answer)[0] == number
        return list(addresses_in(answer, question))

    async def close(self) -> None:
        """Holds nothing."""


@asynccontextmanager
async def naming(*answers: list[str]) -> AsyncIterator[Names]:
    """A name server while the block runs."""
    loop = asyncio.get_running_loop()
    transport, names = await loop.create_datagram_endpoint(
        lambda: Names(list(answers)), local_addr=("127.0.0.1", 0)
    )
    try:
        yield names
    finally:
        transport.close()
