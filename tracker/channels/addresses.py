"""Which addresses a webhook may go to: what is named is looked up once, judged, and that very address is connected to.

A name that points into our own network would make this service knock where only it can reach. So every address a name
has must be public, and nobody looks the name up a second time (it could answer differently).
"""

import ipaddress
import re
import socket
from collections.abc import Callable
from dataclasses import dataclass
from urllib.parse import urlsplit

IPAddress = ipaddress.IPv4Address | ipaddress.IPv6Address
Resolve = Callable[[str, int], list[str]]

# A label of a host name; punycode is ASCII too. The last one may not be a number: 0x7f.1 and 2130706433 are addresses
# to the system's resolver.
LABEL = re.compile(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?")
NUMBER = re.compile(r"[0-9]+|0x[0-9a-f]*")
# Addresses that carry an IPv4 address inside and lead to it: NAT64 (RFC 6052, 8215), 6to4 (RFC 3056), Teredo (RFC 4380).
CARRIERS = tuple(map(ipaddress.ip_network, ("64:ff9b::/96", "64:ff9b:1::/48", "2002::/16", "2001::/32", "::/96")))


class BadAddress(Exception):
    """The address may not be used; the text says why and does not repeat it."""


@dataclass(frozen=True)
class Target:
    """Where to connect, and by which name the other side must prove itself."""

    secure: bool
    host: str
    address: str  # the one that was judged
    port: int
    path: str  # with the query


def system_addresses(host: str, port: int) -> list[str]:
    """Return the addresses the system knows for a host. Raises OSError."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return list(dict.fromkeys(str(entry[4][0]) for entry in found))


def target_of(url: str, *, private: bool = False, resolve: Resolve = system_addresses) -> Target:
    """Return where `url` leads. `private`: our own network may be meant, and a loopback address may do without TLS.

    Raises BadAddress for what may not be used, OSError where the name cannot be looked up now.
    """
    if not url.isascii() or any(char <= " " or char in "\\\x7f" for char in url):
        raise BadAddress("The webhook address has characters that do not belong there.")
    try:
        parts = urlsplit(url)
        port, host = parts.port, (parts.hostname or "").lower()
    except ValueError:
        raise BadAddress("The webhook address cannot be read.") from None
    if parts.scheme != "https" and not (private and parts.scheme == "http"):
        raise BadAddress("The webhook address must begin with https://.")
    if "@" in parts.netloc:
        raise BadAddress("The webhook address must not carry a name or a password.")
    if parts.fragment or port == 0:
        raise BadAddress("The webhook address has a port or a part that leads nowhere.")
    secure = parts.scheme == "https"
    port = port or (443 if secure else 80)
    address = _judged(host, port, private, resolve)
    if not secure and not ipaddress.ip_address(address).is_loopback:
        raise BadAddress("Without TLS only this machine itself may be meant.")
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    return Target(secure, host, address, port, path)


def _judged(host: str, port: int, private: bool, resolve: Resolve) -> str:
    literal = _literal(host)
    if literal is None and not _is_name(host):
        raise BadAddress("The webhook address names no host.")
    found = [literal] if literal else [ipaddress.ip_address(text.partition("%")[0]) for text in resolve(host, port)]
    if not found:
        raise OSError("the name has no address")
    for address in found:
        if not private and not is_public(address):
            raise BadAddress("The webhook address leads into a network that is not public.")
    return str(found[0])


def _literal(host: str) -> IPAddress | None:
    try:
        return ipaddress.ip_address(host)  # strict: four decimal numbers without leading zeros
    except ValueError:
        return None


def _is_name(host: str) -> bool:
    labels = host.removesuffix(".").split(".")
    return (
        0 < len(host) <= 253
        and all(LABEL.fullmatch(label) for label in labels)
        and not NUMBER.fullmatch(labels[-1])
        and ":" not in host
    )


def is_public(address: IPAddress) -> bool:
    """Whether an address belongs to the public network (IANA's special-purpose registries) and hides no other in it."""
    if isinstance(address, ipaddress.IPv6Address) and (
        address.ipv4_mapped or address.is_site_local or any(address in network for network in CARRIERS)
    ):
        return False
    return address.is_global and not (address.is_multicast or address.is_reserved or address.is_unspecified)
