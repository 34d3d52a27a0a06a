"""Why an attempt got no answer, as whoever set the endpoint up reads it: real sockets that fail in each way."""

import asyncio
import ssl
from contextlib import suppress
from datetime import timedelta
from pathlib import Path

import aiohttp
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from service.events import sender
from service.events.failures import LONGEST, failure
from service.kernel.now import utc_now


async def hang_up(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Takes how a request or a handshake begins, and closes without a word."""
    await reader.read(100)
    writer.close()


def self_signed(folder: Path) -> ssl.SSLContext:
    """A server's side of TLS, by a certificate that nobody vouches for."""
    key, name = (
        ec.generate_private_key(ec.SECP256R1()),
        x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "receiver.example")]),
    )
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(utc_now() - timedelta(days=1))
        .not_valid_after(utc_now() + timedelta(days=1))
        .sign(key, hashes.SHA256())
    )
    file = folder / "receiver.pem"
    file.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )
        + certificate.public_bytes(serialization.Encoding.PEM)
    )
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(file)
    return context


async def error_of(sessions: sender.Sessions, url: str) -> str | None:
    return (await sender.send(sessions, url, b"{}", {}, utc_now(), 5.0)).error


@pytest.mark.parametrize(
    ("scheme", "said"),
    [
        ("http", "The request failed: the receiver closed the connection without an answer."),
        ("https", "The request failed: no TLS with 127.0.0.1:{port}: it closed the connection."),
    ],
)
async def test_who_hangs_up_is_said_to(sessions: sender.Sessions, scheme: str, said: str) -> None:
    server = await asyncio.start_server(hang_up, "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]
    async with server:
        assert await error_of(sessions, f"{scheme}://127.0.0.1:{port}/") == said.format(port=port)


async def test_a_certificate_that_nobody_vouches_for_is_named(
    sessions: sender.Sessions, tmp_path: Path
) -> None:
    server = await asyncio.start_server(hang_up, "127.0.0.1", 0, ssl=self_signed(tmp_path))
    port = server.sockets[0].getsockname()[1]
    async with server:
        said = await error_of(sessions, f"https://127.0.0.1:{port}/")
    assert said == (
        f"The request failed: the certificate of 127.0.0.1:{port} is not accepted: self-signed certificate."
    )


async def test_a_receiver_that_wants_our_certificate_is_not_said_to_be_the_system(tmp_path: Path) -> None:
    """Its word comes once our side of the handshake is done (RFC 8446 section 6.2), with a number of OpenSSL's own."""
    context = self_signed(tmp_path)
    context.verify_mode = ssl.CERT_REQUIRED

    async def refuse(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """The library's own server would close without the alert."""
        came, goes = ssl.MemoryBIO(), ssl.MemoryBIO()
        handshake = context.wrap_bio(came, goes, server_side=True)
        with suppress(ssl.SSLError):
            while piece := await reader.read(65_536):
                came.write(piece)
                with suppress(ssl.SSLWantReadError):
                    handshake.do_handshake()
                writer.write(goes.read())
        writer.write(goes.read())
        while await reader.read(65_536):
            pass
        writer.close()

    server = await asyncio.start_server(refuse, "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]
    async with server, aiohttp.ClientSession(connector=aiohttp.TCPConnector(ssl=False)) as trusting:
        said = await error_of({"https": trusting}, f"https://127.0.0.1:{port}/")
    assert said == (
        "The request failed: the connection broke before an answer came: tlsv13 alert certificate required."
    )


async def test_a_host_that_is_nowhere_is_not_found(sessions: sender.Sessions) -> None:
    """RFC 6761 section 6.4: no name below .invalid leads anywhere."""
    said = await error_of(sessions, "https://hooks.invalid/")
    assert said is not None
    assert said.startswith("The request failed: the host hooks.invalid is not found: ")


def test_what_is_unheard_of_is_kept_short_and_harmless() -> None:
    said = failure(ValueError("\x1b[2J" + "x" * 1_000))
    assert said.startswith("The request failed: ValueError: ?[2Jxxx")
    assert len(said) == LONGEST
