"""Which addresses and ports a delivery may connect to. Pure.

Source: the IANA IPv4 and IPv6 Special-Purpose Address Registries (RFC 6890) and the IANA IPv6 address space
(RFC 4291). The ranges are written out, because Python's `is_global` differs between versions and calls
multicast, NAT64 and 6to4 forms of private addresses global. What the registries hold globally reachable is closed
too (anycast and translators): no receiver lives there.
"""

from collections.abc import Collection
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_network

from msgspec import Struct

Address = IPv4Address | IPv6Address
Network = IPv4Network | IPv6Network

# where https is commonly served; behind other ports there are things that are no receivers
PORTS = frozenset({443, 8443})

SPECIAL = tuple(
    ip_network(text)
    for text in (
        "0.0.0.0/8",  # this network
        "10.0.0.0/8",  # private
        "100.64.0.0/10",  # shared, carrier-grade NAT
        "127.0.0.0/8",  # loopback
        "169.254.0.0/16",  # link-local, cloud metadata
        "172.16.0.0/12",  # private
        "192.0.0.0/24",  # protocol assignments
        "192.0.2.0/24",  # documentation
        "192.31.196.0/24",  # AS112
        "192.52.193.0/24",  # AMT
        "192.88.99.0/24",  # 6to4 relay
        "192.168.0.0/16",  # private
        "192.175.48.0/24",  # AS112
        "198.18.0.0/15",  # benchmarking
        "198.51.100.0/24",  # documentation
        "203.0.113.0/24",  # documentation
        "224.0.0.0/4",  # multicast
        "240.0.0.0/4",  # reserved, broadcast
        "2001::/23",  # protocol assignments, Teredo, ORCHID
        "2001:db8::/32",  # documentation
        "2002::/16",  # 6to4
        "2620:4f:8000::/48",  # AS112
        "3fff::/20",  # documentation
    )
)
# all other IPv6 is loopback, mapped, NAT64, local, multicast or unassigned
GLOBAL_UNICAST = IPv6Network("2000::/3")


class Reach(Struct, frozen=True):
    """How far deliveries go: by https to the public internet at `ports`, and wherever the operator's `networks` are.

    The networks are open by http too, and at any port: they are for receivers in one's own house.
    """

    networks: tuple[Network, ...] = ()
    ports: frozenset[int] = PORTS


def is_public(address: Address) -> bool:
    """Whether an address is an ordinary one of the public internet; an IPv4-mapped one is judged as IPv4."""
    address = _unmapped(address)
    if isinstance(address, IPv6Address) and address not in GLOBAL_UNICAST:
        return False
    return not _lies_in(address, SPECIAL)


def is_opened(address: Address, reach: Reach) -> bool:
    """Whether it lies in a network that the operator opened."""
    return _lies_in(_unmapped(address), reach.networks)


def refusal(reach: Reach, scheme: str, address: Address, port: int) -> str | None:
    """Why no delivery may connect there, in one sentence; None where it may.

    The sentence goes to whoever set the endpoint up, so it does not say what a name is here, where it is looked up.
    """
    if is_opened(address, reach):
        return None
    if scheme != "https" or not is_public(address):
        return f"The host leads to an address that no delivery by {scheme} may go to."
    if port not in reach.ports:
        return f"Port {port} is not one that deliveries may go to; have the receiver at {named(reach.ports)}."
    return None


def named(ports: Collection[int]) -> str:
    """Ports as one says them: 443, 8443 or 9443."""
    *others, last = map(str, sorted(ports))
    return f"{', '.join(others)} or {last}" if others else last


def _unmapped(address: Address) -> Address:
    return address.ipv4_mapped or address if isinstance(address, IPv6Address) else address


def _lies_in(address: Address, networks: Collection[Network]) -> bool:
    return any(address in network for network in networks)
