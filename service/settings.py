"""What an operator sets, read from the environment once."""

import os
import re
from collections.abc import Mapping
from contextlib import suppress
from ipaddress import IPv4Network, IPv6Network, ip_network
from pathlib import Path

from msgspec import Struct

from service.kernel.errors import CannotStart
from service.kernel.now import random_bytes
from service.kernel.sealing import KEY_BYTES

PREFIX = "SETBOOK_"
LAST_PORT = 65_535


class Settings(Struct, frozen=True, kw_only=True):
    """All of them; each is the variable SETBOOK_ and its name in capitals."""

    # Where the secret key and, unless a server is named, PostgreSQL's data are kept: below the folder that
    # one starts it in, so that two checkouts are two books.
    data: Path = Path(".setbook")

    # A PostgreSQL of one's own, 15 or newer; without it Setbook starts the one that comes along.
    database_url: str | None = None

    # Where the API listens: on this machine alone, unless a proxy that speaks TLS reaches it from elsewhere.
    host: str = "127.0.0.1"
    port: int = 8080

    # Where others reach the API, without a slash at the end: the events that are told name their schemas below
    # it. Without it: http:// and host and port from above.
    public_url: str = "http://127.0.0.1:8080"

    # 32 bytes in hexadecimal that encrypt the webhooks' secrets; all processes of an installation need the
    # same. Without it a key is made in the data folder at the first start.
    secret_key: bytes | None = None

    # Networks (CIDR, commas between) that webhooks may go to though they are not public, at any port and by plain
    # http: for receivers in one's own house. None by default, so that no customer's endpoint reaches into it.
    endpoint_networks: tuple[IPv4Network | IPv6Network, ...] = ()

    # Ports (commas between) that webhooks may go to on the public internet, beside 443 and 8443.
    endpoint_ports: frozenset[int] = frozenset()


def read_settings(environment: Mapping[str, str]) -> Settings:
    """The settings of an environment, raising CannotStart with the name of what is wrong."""
    known = {f"{PREFIX}{name.upper()}" for name in Settings.__struct_fields__}
    given = {name: text for name, text in environment.items() if name in known and text}
    defaults = Settings()
    host = given.get("SETBOOK_HOST", defaults.host)
    port = read_port(given.get("SETBOOK_PORT", str(defaults.port)))
    return Settings(
        data=Path(given.get("SETBOOK_DATA", defaults.data)),
        database_url=given.get("SETBOOK_DATABASE_URL"),
        host=host,
        port=port,
        public_url=_public_url(given.get("SETBOOK_PUBLIC_URL") or f"http://{_in_url(host)}:{port}"),
        secret_key=_key(given["SETBOOK_SECRET_KEY"]) if "SETBOOK_SECRET_KEY" in given else None,
        endpoint_networks=_networks(given.get("SETBOOK_ENDPOINT_NETWORKS", "")),
        endpoint_ports=frozenset(
            read_port(one, "SETBOOK_ENDPOINT_PORTS")
            for one in _listed(given.get("SETBOOK_ENDPOINT_PORTS", ""))
        ),
    )


def read_port(text: str, where: str = "SETBOOK_PORT") -> int:
    """A TCP port."""
    if not text.isascii() or not text.isdecimal() or not 1 <= int(text) <= LAST_PORT:
        raise CannotStart(f"{where} is {text!r}; give a number from 1 to {LAST_PORT}.")
    return int(text)


def _listed(text: str) -> list[str]:
    return [part.strip() for part in text.split(",") if part.strip()]


def _in_url(host: str) -> str:
    return f"[{host}]" if ":" in host else host


def _public_url(text: str) -> str:
    """An address that a path can be put behind."""
    if re.fullmatch(r"https?://[^/?#]+(/[^/?#]+)*", text) is None or not text.isascii():
        raise CannotStart(
            f"SETBOOK_PUBLIC_URL is {text!r}; give the API's address, such as https://setbook.example"
        )
    return text


def sealing_key(settings: Settings) -> bytes:
    """The installation's own key: what is set, else the data folder's, made at the first start."""
    if settings.secret_key is not None:
        return settings.secret_key
    path = settings.data / "secret-key"
    if not path.exists():
        settings.data.mkdir(parents=True, exist_ok=True)
        new = path.with_name(f"secret-key.{os.getpid()}")
        new.touch(0o600)
        new.write_text(random_bytes(KEY_BYTES).hex())
        # whole or not at all, and the first of several starts wins
        with suppress(FileExistsError):
            os.link(new, path)
        new.unlink()
    return _key(path.read_text(), f"The key in {path}")


def _key(text: str, where: str = "SETBOOK_SECRET_KEY") -> bytes:
    try:
        key = bytes.fromhex(text.strip())
    except ValueError:
        key = b""
    if len(key) != KEY_BYTES:
        raise CannotStart(
            f"{where} is not {KEY_BYTES} bytes in hexadecimal; make one with: openssl rand -hex 32"
        )
    return key


def _networks(text: str) -> tuple[IPv4Network | IPv6Network, ...]:
    try:
        return tuple(ip_network(part) for part in _listed(text))
    except ValueError as error:
        raise CannotStart(
            f"SETBOOK_ENDPOINT_NETWORKS: {error}; give networks such as 10.0.0.0/8,fd00::/8"
        ) from None
