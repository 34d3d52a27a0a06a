"""Which addresses a delivery may connect to. Pure.

Source: the IANA IPv4 and IPv6 Special-Purpose Address Registries (RFC 6890) and the IANA IPv6 address space
(RFC 4291). The ranges are written out, because Python's `is_global` differs between versions and calls
multicast, NAT64 and 6to4 forms of private addresses global.
"""

from collections.abc import Collection
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_network

Address = IPv4Address | IPv6Address
Network = IPv4Network | IPv6Network

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


def is_public(address: Address) -> bool:
    """Whether an address is an ordinary one of the public internet; an IPv4-mapped one is judged as IPv4."""
    address = _unmapped(address)
    if isinstance(address, IPv6Address) and address not in GLOBAL_UNICAST:
        return False
    return not _lies_in(address, SPECIAL)


def is_allowed(address: Address, networks: Collection[Network], scheme: str) -> bool:
    """Whether a delivery may connect there: by https to public addresses, by either scheme to `networks`."""
    return _lies_in(_unmapped(address), networks) or (scheme == "https" and is_public(address))


def _unmapped(address: Address) -> Address:
    return address.ipv4_mapped or address if isinstance(address, IPv6Address) else address


def _lies_in(address: Address, networks: Collection[Network]) -> bool:
    return any(address in network for network in networks)
