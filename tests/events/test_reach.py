"""Where a delivery connects to, tried with real names and sockets: a name server on loopback changes its answers."""

import asyncio
import socket
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from datetime import timedelta
from ipaddress import ip_network
from pathlib import Path
from urllib.parse import urlsplit

import aiohttp
import pytest

from service.events import sender
from service.events.addresses import PORTS, Reach
from service.kernel.now import utc_now
from tests.events.conftest import LOOPBACK, Book, receiving, status
from tests.events.names import AAAA, A, Resolver, naming
from tests.events.test_courier import deliver

NOW = utc_now()
PUBLIC = "8.8.8.8"
CLOSED = "The host leads to an address that no delivery by"
# how loopback can be written as an address of IPv6
DISGUISED = ["::ffff:127.0.0.1", "::127.0.0.1", "64:ff9b::7f00:1", "64:ff9b:1::7f00:1", "2002:7f00:1::"]
DISGUISED += ["2001:0:7f00:1::", "2001:0:808:808:0:ffff:80ff:fffe"]
PRIVATE = ["127.0.0.1", "0.0.0.0", "10.0.0.1", "169.254.169.254", "192.168.0.1", "100.64.0.1"]  # noqa: S104


@dataclass
class Internet:
    """All that is connected to; what is not loopback ends at `port` there, so that no test leaves the machine."""

    port: int
    connected: list[tuple[str, int]] = field(default_factory=list)
    accepted: int = 0


@pytest.fixture
async def internet(monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Internet]:
    """What the courier takes for it: everybody there listens, and hangs up."""

    def hang_up(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        everybody.accepted += 1
        writer.close()

    loop = asyncio.get_running_loop()
    connect = loop.sock_connect

    async def sock_connect(sock, target) -> None:
        everybody.connected.append(target[:2])
        await connect(sock, ("127.0.0.1", everybody.port))

    async with await asyncio.start_server(hang_up, "127.0.0.1", 0) as server:
        everybody = Internet(server.sockets[0].getsockname()[1])
        monkeypatch.setattr(loop, "sock_connect", sock_connect)
        yield everybody


async def error_of(sessions: sender.Sessions, url: str) -> str:
    """Why the courier's client cannot post there."""
    with pytest.raises(aiohttp.ClientError) as failed:
        await sessions[urlsplit(url).scheme].post(url, data=b"{}")
    return str(getattr(failed.value, "os_error", failed.value))


async def test_a_name_that_changes_from_public_to_loopback_is_refused_where_it_connects(
    book: Book, courier, internet: Internet
):
    async with naming([PUBLIC], ["127.0.0.1"]) as names:
        endpoint_id, _ = await book.add_endpoint("https://hooks.example.org/")
        await book.tell(NOW)
        for now in (NOW, NOW + timedelta(minutes=1)):
            # a client of its own each time, as after its memory of names has run out
            async with sender.open_sessions(Reach(), Resolver(names)) as sessions:
                await deliver(courier, sessions, now)
        assert names.asked == [("hooks.example.org", kind) for kind in (A, AAAA, A, AAAA)]
    assert (internet.connected, internet.accepted) == ([(PUBLIC, 443)], 1)
    (kept,) = await book.deliveries(endpoint_id)
    assert (kept.attempt, kept.last_error) == (2, f"{CLOSED} https may go to.")


async def test_a_name_is_judged_at_every_connection(book: Book, courier):
    allowed = Reach((ip_network("127.0.0.1/32"),))
    async with (
        receiving(status(500), host="0.0.0.0") as receiver,  # noqa: S104  two addresses of loopback
        naming(["127.0.0.1"], ["127.0.0.2"]) as names,
    ):
        endpoint_id, _ = await book.add_endpoint(
            f"http://hook.example.org:{urlsplit(receiver.url).port}/hook"
        )
        await book.tell(NOW)
        for now in (NOW, NOW + timedelta(minutes=1)):
            async with sender.open_sessions(allowed, Resolver(names)) as sessions:
                await deliver(courier, sessions, now)
        assert receiver.arrived.qsize() == 1
    (kept,) = await book.deliveries(endpoint_id)
    assert (kept.attempt, kept.last_status) == (2, None)
    assert kept.last_error == f"{CLOSED} http may go to."


async def test_of_many_addresses_of_a_name_the_public_one_alone_is_connected_to(
    internet: Internet,
):
    addresses = [*PRIVATE, PUBLIC, "::1", "fd00::1", "fe80::1", *DISGUISED]
    async with naming(addresses) as names, sender.open_sessions(Reach(), Resolver(names)) as sessions:
        await error_of(sessions, "https://hooks.example.org:8443/")
    assert set(internet.connected) == {(PUBLIC, 8443)}


async def test_a_failure_does_not_tell_where_a_name_leads(book: Book, courier):
    """A network that the operator opened is one's own house, and what its names lead to is not the integrator's."""
    with socket.socket() as closed:
        # nobody else can have it meanwhile, and nobody listens
        closed.bind(("127.0.0.1", 0))
        port = closed.getsockname()[1]
        endpoint_id, _ = await book.add_endpoint(f"http://hook.example.org:{port}/")
        await book.tell(NOW)
        async with (
            naming(["127.0.0.1"]) as names,
            sender.open_sessions(Reach((ip_network("127.0.0.0/8"),)), Resolver(names)) as sessions,
        ):
            await deliver(courier, sessions, NOW)
    (kept,) = await book.deliveries(endpoint_id)
    said = f"The request failed: no connection to hook.example.org:{port}: Connection refused."
    assert kept.last_error == said


@pytest.mark.parametrize("address", [*PRIVATE, "::1", "fd00::1", *DISGUISED])
async def test_a_name_that_leads_inside_is_not_connected_to(internet: Internet, address: str):
    async with naming([address]) as names, sender.open_sessions(Reach(), Resolver(names)) as sessions:
        said = await error_of(sessions, "https://hooks.example.org/")
    assert internet.connected == []
    assert CLOSED in said


@pytest.mark.parametrize("port", [22, 25, 80, 6379])
async def test_a_public_address_is_connected_to_at_the_ports_of_https_alone(internet: Internet, port: int):
    async with naming([PUBLIC]) as names, sender.open_sessions(Reach(), Resolver(names)) as sessions:
        said = await error_of(sessions, f"https://hooks.example.org:{port}/")
    assert internet.connected == []
    expected = f"Port {port} is not one that deliveries may go to; have the receiver at 443 or 8443."
    assert said == expected


async def test_a_port_that_the_operator_lists_is_connected_to(internet: Internet):
    listed = Reach(ports=PORTS | {9443})
    async with naming([PUBLIC]) as names, sender.open_sessions(listed, Resolver(names)) as sessions:
        await error_of(sessions, "https://hooks.example.org:9443/")
    assert internet.connected == [(PUBLIC, 9443)]


NO_HOST = "is not a canonical IPv4 address"


@pytest.mark.parametrize(
    ("host", "word"),
    [
        ("127.0.0.1", CLOSED),
        ("localhost", CLOSED),
        ("2130706433", NO_HOST),
        ("017700000001", NO_HOST),
        ("0x7f000001", CLOSED),
        ("0x7f.1", CLOSED),
        ("127.1", NO_HOST),
        ("0177.0.0.1", NO_HOST),
        ("127.0.0.1.", NO_HOST),
        ("\u2460\u2461\u2466.\u24ea.\u24ea.\u2460", CLOSED),
        ("0.0.0.0", CLOSED),  # noqa: S104  not bound to: a way of writing this host
        ("[::1]", CLOSED),
        *((f"[{address}]", CLOSED) for address in DISGUISED),
    ],
)
@pytest.mark.parametrize("scheme", ["http", "https"])
async def test_no_way_of_writing_a_private_address_is_connected_to(
    internet: Internet, scheme: str, host: str, word: str
):
    async with sender.open_sessions(Reach()) as sessions:
        said = await error_of(sessions, f"{scheme}://{host}:8443/hook")
    assert internet.connected == []
    assert word in said


async def test_proxies_and_passwords_of_the_environment_are_not_obeyed(
    book: Book, courier, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
):
    (tmp_path / "netrc").write_text("default login somebody password secret\n")
    monkeypatch.setenv("NETRC", str(tmp_path / "netrc"))
    async with receiving() as receiver, receiving() as proxy:
        for name in ("http_proxy", "https_proxy", "all_proxy"):
            monkeypatch.setenv(name, proxy.url)
            monkeypatch.setenv(name.upper(), proxy.url)
        endpoint_id, _ = await book.add_endpoint(receiver.url)
        await book.tell(NOW)
        async with sender.open_sessions(LOOPBACK) as sessions:
            await deliver(courier, sessions, NOW)
        (received,) = await receiver.take()
        assert proxy.arrived.empty()
    assert "authorization" not in received.headers
    assert [one.state for one in await book.deliveries(endpoint_id)] == ["delivered"]
