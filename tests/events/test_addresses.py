"""Where a delivery may connect to: every row of the IANA special-purpose address registries, and what lies around."""

from collections.abc import Callable
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.events.addresses import SPECIAL, Address, Network, Reach, is_opened, is_public, named, refusal

# The rows of both registries as of 2026-07-18: address blocks and the document that each is from. Sources:
# www.iana.org/assignments/iana-ipv4-special-registry and .../iana-ipv6-special-registry
REGISTRIES = """
0.0.0.0/8                       this network, RFC 791
0.0.0.0/32                      this host on this network, RFC 1122
10.0.0.0/8                      private use, RFC 1918
100.64.0.0/10                   shared address space, RFC 6598
127.0.0.0/8                     loopback, RFC 1122
169.254.0.0/16                  link-local, RFC 3927
172.16.0.0/12                   private use, RFC 1918
192.0.0.0/24                    IETF protocol assignments, RFC 6890
192.0.0.0/29                    IPv4 service continuity, RFC 7335
192.0.0.8/32                    IPv4 dummy address, RFC 7600
192.0.0.9/32                    port control protocol anycast, RFC 7723
192.0.0.10/32                   TURN anycast, RFC 8155
192.0.0.170/32                  NAT64/DNS64 discovery, RFC 8880
192.0.0.171/32                  NAT64/DNS64 discovery, RFC 8880
192.0.2.0/24                    documentation, RFC 5737
192.31.196.0/24                 AS112-v4, RFC 7535
192.52.193.0/24                 AMT, RFC 7450
192.88.99.0/24                  6to4 relay anycast, RFC 7526
192.88.99.2/32                  6a44 relay anycast, RFC 6751
192.168.0.0/16                  private use, RFC 1918
192.175.48.0/24                 direct delegation AS112, RFC 7534
198.18.0.0/15                   benchmarking, RFC 2544
198.51.100.0/24                 documentation, RFC 5737
203.0.113.0/24                  documentation, RFC 5737
240.0.0.0/4                     reserved, RFC 1112
255.255.255.255/32              limited broadcast, RFC 8190
::1/128                         loopback, RFC 4291
::/128                          unspecified, RFC 4291
64:ff9b::/96                    IPv4-IPv6 translation (NAT64), RFC 6052
64:ff9b:1::/48                  IPv4-IPv6 translation (NAT64), RFC 8215
100::/64                        discard-only, RFC 6666
100:0:0:1::/64                  dummy prefix, RFC 9780
2001::/23                       IETF protocol assignments, RFC 2928
2001::/32                       Teredo, RFC 4380
2001:1::1/128                   port control protocol anycast, RFC 7723
2001:1::2/128                   TURN anycast, RFC 8155
2001:1::3/128                   DNS-SD SRP anycast, RFC 9665
2001:2::/48                     benchmarking, RFC 5180
2001:3::/32                     AMT, RFC 7450
2001:4:112::/48                 AS112-v6, RFC 7535
2001:10::/28                    ORCHID, RFC 4843
2001:20::/28                    ORCHIDv2, RFC 7343
2001:30::/28                    drone remote ID, RFC 9374
2001:db8::/32                   documentation, RFC 3849
2002::/16                       6to4, RFC 3056
2620:4f:8000::/48               direct delegation AS112, RFC 7534
3fff::/20                       documentation, RFC 9637
5f00::/16                       segment routing, RFC 9602
fc00::/7                        unique local, RFC 4193
fe80::/10                       link-local, RFC 4291
"""
# ::ffff:0:0/96 is in the registry too: such an address is judged as the IPv4 one that it holds

# closed as well, though in other registries
BEYOND = """
224.0.0.0/4                     multicast, RFC 5771
::/96                           IPv4-compatible, RFC 4291
::ffff:0:0:0/96                 IPv4-translated, RFC 2765
fec0::/10                       site-local, RFC 3879
ff00::/8                        multicast, RFC 4291
1000::/4                        not assigned, RFC 4291
4000::/3                        not assigned, RFC 4291
e000::/4                        not assigned, RFC 4291
"""

# ordinary addresses, and those just outside the blocks above
OPEN = {
    "4": "1.0.0.0 8.8.8.8 9.255.255.255 11.0.0.0 100.63.255.255 100.128.0.0 126.255.255.255 128.0.0.0 "
    "169.253.255.255 169.255.0.0 172.15.255.255 172.32.0.0 191.255.255.255 192.0.1.0 192.0.3.0 "
    "192.31.195.255 192.31.197.0 192.52.192.255 192.52.194.0 192.88.98.255 192.88.100.0 192.167.255.255 "
    "192.169.0.0 192.175.47.255 192.175.49.0 198.17.255.255 198.20.0.0 198.51.99.255 198.51.101.0 "
    "203.0.112.255 203.0.114.0 223.255.255.255",
    "mapped": "::ffff:8.8.8.8",
    "6": "2001:200:: 2001:db7:ffff::1 2001:db9:: 2003:: 2606:4700::1111 2620:4f:7fff::1 2620:4f:8001:: "
    "2a00:1450::1 3ffe:: 3fff:1000::",
}

# how an IPv4 address can ride in an IPv6 one
RIDING: dict[str, Callable[[IPv4Address], IPv6Address]] = {
    "compatible": lambda inner: IPv6Address(int(inner)),
    "translated": lambda inner: IPv6Address(0xFFFF << 48 | int(inner)),
    "NAT64": lambda inner: IPv6Address(0x64FF9B << 96 | int(inner)),
    "local NAT64": lambda inner: IPv6Address(0x64FF9B0001 << 80 | int(inner)),
    "6to4": lambda inner: IPv6Address(0x2002 << 112 | int(inner) << 80 | 1),
    "Teredo server": lambda inner: IPv6Address(0x20010000 << 96 | int(inner) << 64),
    "Teredo client": lambda inner: IPv6Address(0x20010000 << 96 | 0xFFFFFFFF & ~int(inner)),
}

NETWORKS = [ip_network(row.split()[0]) for table in (REGISTRIES, BEYOND) for row in table.split("\n") if row]
ports = st.integers(0, 65_535)
schemes = st.sampled_from(["http", "https"])


def some_of(network: Network) -> set[Address]:
    """Its first, second, middle and last addresses."""
    size = network.num_addresses
    return {network[place] for place in (0, min(1, size - 1), size // 2, size - 1)}


@pytest.mark.parametrize("network", NETWORKS, ids=str)
def test_a_special_address_is_not_public_and_connected_to_at_no_port(network: Network):
    for address in some_of(network):
        assert not is_public(address), address
        for scheme, port in (("https", 443), ("https", 8443), ("http", 80)):
            assert refusal(Reach(), scheme, address, port) == (
                f"The host leads to an address that no delivery by {scheme} may go to."
            )


@pytest.mark.parametrize("network", [one for one in NETWORKS if isinstance(one, IPv4Network)], ids=str)
def test_a_special_address_does_not_get_through_in_an_ipv6_one(network: IPv4Network):
    for inner in some_of(network):
        assert isinstance(inner, IPv4Address)
        assert not is_public(IPv6Address(f"::ffff:{inner}"))
        for way, ride in RIDING.items():
            assert not is_public(ride(inner)), way


def test_the_ways_to_ride_are_those_of_their_documents():
    inner = IPv4Address("127.0.0.1")
    assert {way: str(ride(inner)) for way, ride in RIDING.items()} == {
        "compatible": "::7f00:1",
        "translated": "::ffff:0:7f00:1",
        "NAT64": "64:ff9b::7f00:1",
        "local NAT64": "64:ff9b:1::7f00:1",
        "6to4": "2002:7f00:1::1",
        "Teredo server": "2001:0:7f00:1::",
        "Teredo client": "2001::80ff:fffe",
    }
    assert RIDING["6to4"](inner).sixtofour == inner
    assert RIDING["Teredo client"](inner).teredo == (IPv4Address(0), inner)


@pytest.mark.parametrize("text", [text for row in OPEN.values() for text in row.split()])
def test_ordinary_addresses_are_public_by_https_only(text: str):
    address = ip_address(text)
    assert is_public(address)
    assert refusal(Reach(), "https", address, 443) is None
    assert refusal(Reach(), "https", address, 8443) is None
    assert refusal(Reach(), "http", address, 443) is not None


def test_a_zone_does_not_make_a_link_local_address_another():
    assert not is_public(ip_address("fe80::1%1"))


@given(st.ip_addresses(v=4) | st.ip_addresses(v=6) | st.sampled_from(SPECIAL).map(lambda net: net[1]))
def test_what_is_public_is_global_for_the_standard_library_too(address: Address):
    """A second opinion: Python's `ipaddress` lets more through, never less."""
    assert not is_public(address) or (address.is_global and not address.is_multicast)


@given(st.ip_addresses(v=4), st.sampled_from(sorted(RIDING)))
def test_no_ipv4_address_rides_through_but_as_a_mapped_one(inner: IPv4Address, way: str):
    assert not is_public(RIDING[way](inner))
    assert is_public(IPv6Address(f"::ffff:{inner}")) == is_public(inner)


@given(ports, st.frozensets(ports))
def test_of_a_public_address_the_listed_ports_alone_are_connected_to(port: int, listed: frozenset[int]):
    reach = Reach(ports=Reach().ports | listed)
    said = refusal(reach, "https", ip_address("8.8.8.8"), port)
    assert (said is None) == (port in {443, 8443} | listed)
    assert said is None or (said.startswith(f"Port {port} ") and named(reach.ports) in said)


def test_ports_are_named_as_one_says_them():
    assert [named([443]), named([8443, 443]), named([9443, 8443, 443])] == [
        "443",
        "443 or 8443",
        "443, 8443 or 9443",
    ]


@given(st.ip_addresses(v=4), st.integers(0, 32), schemes, ports)
def test_the_operator_s_networks_are_open_to_both_schemes_at_any_port(
    address: IPv4Address, bits: int, scheme: str, port: int
):
    reach = Reach((ip_network((address, bits), strict=False),))
    for one in (address, IPv6Address(f"::ffff:{address}")):
        assert is_opened(one, reach)
        assert refusal(reach, scheme, one, port) is None


def test_a_network_opens_what_lies_in_it_alone():
    reach = Reach((ip_network("10.1.0.0/16"), IPv6Network("fd00:1::/32")))
    assert refusal(reach, "http", ip_address("10.2.0.1"), 80) is not None
    assert refusal(reach, "https", ip_address("fd00:2::1"), 443) is not None
    assert refusal(reach, "http", ip_address("fd00:1::1"), 80) is None
