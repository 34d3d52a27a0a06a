"""Where a delivery may connect to. Source of the table: the IANA special-purpose address registries."""

from ipaddress import ip_address, ip_network

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.events.addresses import SPECIAL, is_allowed, is_public

# first and last address of every range of the registries, of multicast, and of what embeds an IPv4 address
CLOSED = {
    "this network": "0.0.0.0 0.255.255.255",
    "private use": "10.0.0.0 10.255.255.255 172.16.0.0 172.31.255.255 192.168.0.0 192.168.255.255",
    "shared address space": "100.64.0.0 100.127.255.255",
    "loopback": "127.0.0.0 127.0.0.1 127.255.255.255 ::1",
    "link-local": "169.254.0.0 169.254.169.254 169.254.255.255 fe80:: fe80::1 fe80::1%1 febf::1",
    "protocol assignments": "192.0.0.0 192.0.0.8 192.0.0.170 192.0.0.255 2001:1::1 2001:3::1 2001:4:112::1",
    "documentation": "192.0.2.0 192.0.2.255 198.51.100.0 198.51.100.255 203.0.113.0 203.0.113.255 "
    "2001:db8:: 2001:db8:ffff:ffff:ffff:ffff:ffff:ffff 3fff:: 3fff:fff:ffff:ffff:ffff:ffff:ffff:ffff",
    "AS112": "192.31.196.0 192.31.196.255 192.175.48.0 192.175.48.255 "
    "2620:4f:8000:: 2620:4f:8000:ffff:ffff:ffff:ffff:ffff",
    "AMT": "192.52.193.0 192.52.193.255",
    "6to4": "192.88.99.0 192.88.99.1 192.88.99.255 2002:: 2002:7f00:1:: 2002:808:808::1 2002:ffff::ffff",
    "benchmarking": "198.18.0.0 198.19.255.255 2001:2::1",
    "multicast": "224.0.0.0 224.0.0.1 239.255.255.255 ff00:: ff02::1 ffff::ffff",
    "reserved and broadcast": "240.0.0.0 255.255.255.254 255.255.255.255",
    "unspecified, IPv4-compatible": ":: ::127.0.0.1 ::8.8.8.8",
    "IPv4-mapped": "::ffff:127.0.0.1 ::ffff:10.0.0.1 ::ffff:169.254.169.254",
    "NAT64": "64:ff9b:: 64:ff9b::7f00:1 64:ff9b::808:808 64:ff9b:1:: 64:ff9b:1:ffff::1",
    "discard-only, dummy": "100:: 100::1 100:0:0:1::1",
    "Teredo": "2001:: 2001:0:53aa:64c::",
    "ORCHID, remote ID": "2001:10::1 2001:20::1 2001:30::1 2001:1ff:ffff:ffff:ffff:ffff:ffff:ffff",
    "segment routing": "5f00:: 5f00::1",
    "unique local": "fc00:: fd00::1 fdff:ffff:ffff:ffff:ffff:ffff:ffff:ffff",
    "site-local": "fec0:: fec0::1",
    "not assigned as unicast": "1fff:ffff:: 4000::",
}

# ordinary addresses, and those just outside the ranges above
OPEN = {
    "4": "1.0.0.0 8.8.8.8 9.255.255.255 11.0.0.0 100.63.255.255 100.128.0.0 126.255.255.255 128.0.0.0 "
    "169.253.255.255 169.255.0.0 172.15.255.255 172.32.0.0 191.255.255.255 192.0.1.0 192.0.3.0 "
    "192.31.195.255 192.88.98.255 192.88.100.0 192.167.255.255 192.169.0.0 198.17.255.255 198.20.0.0 "
    "198.51.99.255 198.51.101.0 203.0.112.255 203.0.114.0 223.255.255.255",
    "mapped": "::ffff:8.8.8.8",
    "6": "2001:200:: 2001:db7:ffff::1 2001:db9:: 2003:: 2606:4700::1111 2620:4f:7fff::1 2620:4f:8001:: "
    "2a00:1450::1 3ffe:: 3fff:1000::",
}


def each(table: dict[str, str]) -> list[str]:
    return [text for row in table.values() for text in row.split()]


@pytest.mark.parametrize("text", each(CLOSED))
def test_special_addresses_are_not_public(text):
    assert not is_public(ip_address(text))
    assert not is_allowed(ip_address(text), (), "https")


@pytest.mark.parametrize("text", each(OPEN))
def test_ordinary_addresses_are_public_by_https_only(text):
    assert is_public(ip_address(text))
    assert is_allowed(ip_address(text), (), "https")
    assert not is_allowed(ip_address(text), (), "http")


@given(st.ip_addresses(v=4) | st.ip_addresses(v=6) | st.sampled_from(SPECIAL).map(lambda net: net[1]))
def test_what_is_public_is_global_for_the_standard_library_too(address):
    """A second opinion: Python's `ipaddress` lets more through, never less."""
    assert not is_public(address) or (address.is_global and not address.is_multicast)


@given(st.ip_addresses(v=4), st.integers(0, 32), st.sampled_from(["http", "https"]))
def test_the_operator_s_networks_are_open_to_both_schemes(address, bits, scheme):
    network = ip_network((address, bits), strict=False)
    assert is_allowed(address, [network], scheme)
    assert is_allowed(ip_address(f"::ffff:{address}"), [network], scheme)
