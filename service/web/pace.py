"""How often somebody may try: a few wrong keys, a reasonable number of presses."""

import time
from collections import deque
from collections.abc import Callable
from http import HTTPStatus
from ipaddress import IPv6Address, IPv6Network, ip_address
from math import ceil
from threading import Lock

from starlette.requests import Request
from starlette.responses import Response

from service.languages import phrase as _
from service.web.problems import refusal

KEPT = 2_000
"""How many names are remembered; the longest untouched are forgotten first."""

HOME = 64
"""Bits of an IPv6 address that name a network; the rest its owner chooses at will (RFC 4291, 2.5.4)."""


class Pace:
    """At most `times` within `seconds` for each name. Real time, as it is about people and programs."""

    def __init__(self, times: int, seconds: float, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._times, self._seconds, self._monotonic = times, seconds, monotonic
        self._seen: dict[str, deque[float]] = {}
        self._lock = Lock()

    def allows(self, name: str) -> bool:
        """Whether one more is within the pace; it is counted if so."""
        with self._lock:
            seen = self._recent(name)
            if len(seen) >= self._times:
                return False
            seen.append(self._monotonic())
            return True

    def is_spent(self, name: str) -> bool:
        """Whether one more would be beyond the pace; nothing is counted."""
        with self._lock:
            return len(self._recent(name)) >= self._times

    def wait(self, name: str) -> int:
        """Whole seconds until one more is within the pace, one at least."""
        with self._lock:
            seen = self._recent(name)
            free = seen[0] + self._seconds if len(seen) >= self._times else 0.0
            return max(1, ceil(free - self._monotonic()))

    def _recent(self, name: str) -> deque[float]:
        seen = self._seen.pop(name, deque())
        while seen and seen[0] <= self._monotonic() - self._seconds:
            seen.popleft()
        self._seen[name] = seen
        if len(self._seen) > KEPT:
            del self._seen[next(iter(self._seen))]
        return seen


def slowed(request: Request, title: str, seconds: int) -> Response:
    """The answer to what came too often: when to come again (RFC 6585, 4)."""
    lines = [_("Wait %(n)s seconds, then try again. Nothing was changed.", n=seconds)]
    return refusal(request, HTTPStatus.TOO_MANY_REQUESTS, title, lines, {"retry-after": str(seconds)})


def address_of(request: Request) -> str:
    """By what name the sender of a request is counted: its address, of IPv6 the network."""
    host = request.client.host if request.client else ""
    try:
        address = ip_address(host)
    except ValueError:
        return host
    if isinstance(address, IPv6Address) and address.ipv4_mapped is None:
        return str(IPv6Network((address, HOME), strict=False))
    return host
