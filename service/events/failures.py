"""Why an attempt got no answer: one sentence for whoever set the endpoint up, who does not know our client's words."""

import os
import re
import socket
import ssl

import aiohttp

LONGEST = 500
# how words of OpenSSL begin where they stand in place of the system's, beside a number that is not the system's either
OF_TLS = re.compile(r"\[SSL: (\w+)\]")


class AddressRefused(OSError):
    """The receiver's name leads to an address or a port that no delivery may connect to."""


def failure(wrong: Exception) -> str:
    """What went wrong, fit to be stored: short, and without control characters that a receiver sent."""
    cause = wrong.os_error if isinstance(wrong, aiohttp.ClientConnectorError) else None
    text = str(cause) if isinstance(cause, AddressRefused) else f"The request failed: {_why(wrong)}"
    return "".join(letter if letter.isprintable() else "?" for letter in text)[:LONGEST]


def _why(wrong: Exception) -> str:
    if isinstance(wrong, aiohttp.ClientConnectorCertificateError):
        of = wrong.certificate_error
        words = of.verify_message if isinstance(of, ssl.SSLCertVerificationError) else str(of)
        return f"the certificate of {wrong.host}:{wrong.port} is not accepted: {words.rstrip('.')}."
    if isinstance(wrong, aiohttp.ClientConnectorError):
        return _not_connected(wrong)
    if isinstance(wrong, aiohttp.ServerDisconnectedError):
        return "the receiver closed the connection without an answer."
    if isinstance(wrong, aiohttp.ClientResponseError):
        return f"the answer is no HTTP: {wrong.message.partition(chr(10))[0].rstrip(':')}."
    if isinstance(wrong, OSError) and wrong.errno:
        broken = OF_TLS.match(wrong.strerror or "")
        why = os.strerror(wrong.errno) if broken is None else _of_tls(broken[1])
        return f"the connection broke before an answer came: {why}."
    return f"{type(wrong).__name__}: {wrong}"


def _not_connected(wrong: aiohttp.ClientConnectorError) -> str:
    """Never in the system's own words where these hold the address that the name leads to."""
    cause, place = wrong.os_error, f"{wrong.host}:{wrong.port}"
    if isinstance(cause, socket.gaierror):
        return f"the host {wrong.host} is not found: {cause.strerror}."
    if isinstance(cause, ssl.SSLError):
        return f"no TLS with {place}: {_of_tls(cause.reason or 'broken')}."
    if isinstance(cause, ConnectionError) and not cause.errno:
        return f"no TLS with {place}: it closed the connection."
    return f"no connection to {place}: {os.strerror(cause.errno) if cause.errno else 'none of its addresses answers'}."


def _of_tls(reason: str) -> str:
    return reason.replace("_", " ").lower()
