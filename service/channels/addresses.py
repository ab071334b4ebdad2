"""Where the service may connect to: the guard against being sent into the house's own network.

A name is resolved once; every address it resolves to must be one that the public internet routes; the
connection then goes to an address that was checked and to no other. A channel may name exceptions.
"""

import asyncio
import ipaddress
import re
import socket
from collections.abc import Awaitable, Callable, Collection, Sequence
from dataclasses import dataclass
from urllib.parse import quote, urlsplit

Resolver = Callable[[str, int], Awaitable[Sequence[str]]]
"""Gives the addresses of a name, in order of preference; OSError where it has none."""

_Address = ipaddress.IPv4Address | ipaddress.IPv6Address
_ADDRESSES_TRIED = 4
_HOST = re.compile(r"[A-Za-z0-9._:-]{1,253}", re.ASCII)

# IANA special-purpose address registries (RFC 6890 and successors), what is not globally reachable there,
# and multicast (RFC 5771).
_CLOSED_4 = tuple(
    ipaddress.IPv4Network(block)
    for block in (
        "0.0.0.0/8",
        "10.0.0.0/8",
        "100.64.0.0/10",
        "127.0.0.0/8",
        "169.254.0.0/16",
        "172.16.0.0/12",
        "192.0.0.0/24",
        "192.0.2.0/24",
        "192.88.99.0/24",
        "192.168.0.0/16",
        "198.18.0.0/15",
        "198.51.100.0/24",
        "203.0.113.0/24",
        "224.0.0.0/4",
        "240.0.0.0/4",
    )
)
_GLOBAL_6 = ipaddress.IPv6Network("2000::/3")
_CLOSED_6 = tuple(
    ipaddress.IPv6Network(block) for block in ("2001::/23", "2001:db8::/32", "2002::/16", "3fff::/20")
)
_NAT64 = ipaddress.IPv6Network("64:ff9b::/96")


class AddressRefusedError(Exception):
    """The receiver's name leads to an address that the service does not connect to."""


@dataclass(frozen=True)
class Target:
    """A web address taken apart; `path` holds the query too."""

    scheme: str
    host: str
    port: int
    path: str


def read_target(url: str) -> Target:
    """A web address, taken apart. ValueError says what is wrong with it without repeating it."""
    try:
        parts = urlsplit(url)
        host, port = parts.hostname or "", parts.port
        plain_host = host if ":" in host else host.encode("idna").decode("ascii")
    except (ValueError, UnicodeError):
        raise ValueError("the web address cannot be read") from None
    if parts.scheme not in {"http", "https"} or not _HOST.fullmatch(plain_host):
        raise ValueError("a web address begins with https:// and a host name")
    if parts.username is not None or parts.password is not None:
        raise ValueError("a web address holds no user name or password")
    path = quote(parts.path or "/", safe="/%:@!$&'()*+,;=~-._")
    query = "?" + quote(parts.query, safe="/?%:@!$&'()*+,;=~-._") if parts.query else ""
    return Target(parts.scheme, plain_host, port or (443 if parts.scheme == "https" else 80), path + query)


def is_public(address: str) -> bool:
    """Whether the public internet routes `address`; what cannot be read is not public."""
    try:
        parsed: _Address = ipaddress.ip_address(address)
    except ValueError:
        return False
    if isinstance(parsed, ipaddress.IPv6Address):
        return _is_public_6(parsed)
    return not any(parsed in block for block in _CLOSED_4)


def _is_public_6(address: ipaddress.IPv6Address) -> bool:
    if address.ipv4_mapped is not None:
        return is_public(str(address.ipv4_mapped))
    if address in _NAT64:
        return is_public(str(ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)))
    return address in _GLOBAL_6 and not any(address in block for block in _CLOSED_6)


async def resolve_by_system(host: str, port: int) -> Sequence[str]:
    """The addresses that this machine's resolver gives."""
    found = await asyncio.get_running_loop().getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return list(dict.fromkeys(str(entry[4][0]) for entry in found))


class AddressGuard:
    """Resolves names and lets only checked addresses through."""

    def __init__(self, resolve: Resolver = resolve_by_system) -> None:
        self._resolve = resolve

    async def addresses(self, host: str, port: int, allowed: Collection[str] = ()) -> tuple[str, ...]:
        """The addresses to try for `host`, resolved once and checked.

        `allowed` holds hosts, as `host` or `host:port`, that may lie anywhere. AddressRefusedError when any
        address of another host is not public, so that a mixed answer does not get through by luck; OSError
        when the name has no address.
        """
        found = await self._resolve(host, port)
        if not found:
            raise OSError("the name has no address")
        if not is_allowed(host, port, allowed) and not all(is_public(address) for address in found):
            raise AddressRefusedError("the receiver's name leads to an address inside a private network")
        return tuple(found[:_ADDRESSES_TRIED])


def is_allowed(host: str, port: int, allowed: Collection[str]) -> bool:
    """Whether a channel's exceptions name this host."""
    named = {each.lower().strip("[]") for each in allowed}
    return host.lower() in named or f"{host.lower()}:{port}" in named
