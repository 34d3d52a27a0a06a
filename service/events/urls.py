"""What an endpoint's URL may be, as far as it can be told without looking its host up. Pure."""

import re
from ipaddress import ip_address
from urllib.parse import SplitResult, urlsplit

from service.events.addresses import Address, Reach, is_opened, is_public, named

HOST_NAME = re.compile(
    r"(?=.{1,253}\Z)(?!-)[a-z0-9_-]{1,63}(?<!-)(?:\.(?!-)[a-z0-9_-]{1,63}(?<!-))*", re.IGNORECASE | re.ASCII
)
# names that lead to this machine or stay within one's own network (RFC 6761, RFC 6762, ICANN's reserved .internal)
LOCAL_NAME = re.compile(r"(?:.*\.)?(?:localhost|local|internal)\.?", re.IGNORECASE | re.ASCII)


def url_faults(url: str, reach: Reach) -> list[str]:
    """What is wrong with an endpoint's URL, a sentence each.

    Names are not looked up here: what they lead to is checked at every connection.
    """
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        return ["The URL cannot be read; write it as https://host/path, with a port from 1 to 65535 if any."]
    checks = (
        (parts.scheme not in {"https", "http"}, "The URL must begin with https://."),
        (parts.scheme == "http" and not reach.networks,
         "This installation delivers to https:// only; its operator may open a network to http."),
        (not parts.hostname, "The URL has no host; write it as https://host/path."),
        (port == 0, "The URL's port must be from 1 to 65535."),
        ("@" in parts.netloc, "The URL must hold no user name or password; deliveries are signed instead."),
        ("#" in url, "The URL must hold no fragment (#...); it is never sent to a server."),
        (_is_no_name(parts.hostname or ""),
         "The URL's host is no name that can be looked up: parted by dots, 1 to 63 letters, digits and hyphens each."),
        (_is_odd_number(parts.hostname or ""),
         "The URL's host is a number; write an IPv4 address as four decimal numbers, such as 8.8.8.8."),
        (not reach.networks and LOCAL_NAME.fullmatch(parts.hostname or "") is not None,
         "The URL's host is a name of one machine or one house; name a host on the public internet."),
        (_is_closed(parts, reach),
         "The URL's address is not one that deliveries may go to; name a host on the public internet."),
        (_is_closed_port(parts, reach),
         f"The URL's port must be {named(reach.ports)}; have the receiver answer at one of these."),
    )  # fmt: skip
    return [sentence for wrong, sentence in checks if wrong]


def _address(host: str) -> Address | None:
    try:
        return ip_address(host)
    except ValueError:
        return None


def _is_no_name(host: str) -> bool:
    """Whether a host is written as no name may be (RFC 1123 section 2.1; underscores pass, as resolvers let them)."""
    name = host.removesuffix(".")
    return bool(host) and _address(host) is None and HOST_NAME.fullmatch(name) is None


def _is_odd_number(host: str) -> bool:
    """Whether resolvers may take a host for an IPv4 address that is not written as one: 2130706433, 0x7f.1."""
    last = host.rstrip(".").rpartition(".")[2]
    return _address(host) is None and (last.isdigit() or last.startswith("0x"))


def _is_closed(parts: SplitResult, reach: Reach) -> bool:
    """Whether the host is written as an address that no delivery may connect to."""
    address = _address(parts.hostname or "")
    if address is None or is_opened(address, reach):
        return False
    return parts.scheme != "https" or not is_public(address)


def _is_closed_port(parts: SplitResult, reach: Reach) -> bool:
    """Whether no delivery may go to that port; a name may yet lead to a network that the operator opened."""
    if parts.scheme != "https" or not parts.port or parts.port in reach.ports:
        return False
    address = _address(parts.hostname or "")
    return not (reach.networks if address is None else is_opened(address, reach))
