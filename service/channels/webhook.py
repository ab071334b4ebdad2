"""Webhook out: signed JSON to an address that was checked, and a short look at the answer.

Each delivery under way has a connection of its own: one shared pool slows down with the square of what is
in flight, while single connections do not. All of them share one TLS context, which is dear to build.
"""

import asyncio
import ssl
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from urllib.parse import quote

import h11

from service.channels import template
from service.channels.addresses import AddressGuard, AddressRefusedError, Target, is_allowed, read_target
from service.channels.answers import judge
from service.channels.lane import Lane, LostError, Network, NotReachedError
from service.channels.options import reveal
from service.channels.protocol import Handover, Parcel, Secrets, Stamp
from service.channels.signature import headers_for

_DRAIN_SECONDS = 1.0
_AT_ONCE = 256
"""Connections are cheap, and a receiver that hangs keeps one for ten seconds: there are enough for the others."""



@dataclass(frozen=True)
class WebhookPlan:
    """A webhook channel's settings, judged: its own address if it has one, signing secrets, template, and the
    hosts that may lie anywhere and be reached without TLS.
    """

    address: str | None
    signing: tuple[str, ...]
    template: object
    allowed: frozenset[str]


class WebhookChannel:
    """Sends parcels as JSON by HTTP POST. `limit` bounds a whole attempt, in real time."""

    at_once = _AT_ONCE

    def __init__(
        self,
        plan: WebhookPlan,
        secrets: Secrets,
        guard: AddressGuard,
        *,
        stamp: Stamp,
        limit: timedelta,
        tls: ssl.SSLContext,
    ) -> None:
        self._plan = plan
        self._secrets = secrets
        self._stamp = stamp
        self._limit = limit.total_seconds()
        self._network = Network(guard, plan.allowed, tls, self._limit)
        self._idle: list[Lane] = []
        self._slots = asyncio.Semaphore(_AT_ONCE)

    async def deliver(self, parcel: Parcel) -> Handover:
        """Post the parcel once; a wait for a free connection is not part of the attempt."""
        try:
            target, to = self._target(parcel.to_address)
            body = template.fill(self._plan.template, template.values_of(parcel, to))
            headers = headers_for(self._plan.signing, parcel.id, self._stamp(), body)
        except ValueError as wrong:
            return Handover("refused", str(wrong), for_good=True)
        async with self._slots:
            return await self._attempt(parcel, target, {**_fixed(target, body), **headers}, body)

    async def probe(self, to_address: str | None = None) -> Handover:
        """Resolve, connect and agree on TLS, without a request."""
        if to_address is None and self._plan.address is None:
            return Handover("accepted", "nothing to try: every person has an address of their own")
        try:
            target, _ = self._target(to_address or "")
        except ValueError as wrong:
            return Handover("refused", str(wrong), for_good=True)
        lane = Lane(self._network)
        try:
            async with asyncio.timeout(self._limit):
                await lane.reach(target)
        except _FAILURES as failure:
            return _failed(failure)
        finally:
            await lane.aclose()
        return Handover("accepted", "connected, nothing sent")

    async def close(self) -> None:
        """Close the connections that were kept."""
        while self._idle:
            await self._idle.pop().aclose()

    def _target(self, to_address: str) -> tuple[Target, str]:
        """Where to post, and the `to` of the template: empty where the address is the place itself."""
        to = reveal(to_address, self._secrets)
        personal = "://" in to
        if not personal and self._plan.address is None:
            raise ValueError("the person's address is no web address, and the channel has none of its own")
        target = read_target(to if personal else _addressed(self._plan.address or "", to))
        if target.scheme != "https" and not is_allowed(target.host, target.port, self._plan.allowed):
            raise ValueError("only https addresses are used, unless the channel allows this host by name")
        return target, "" if personal else to

    def _lane_to(self, target: Target) -> Lane:
        """A kept connection to the target, the last one used first; else a new one, or the oldest if many are kept."""
        for n in reversed(range(len(self._idle))):
            if self._idle[n].leads_to(target):
                return self._idle.pop(n)
        return self._idle.pop(0) if len(self._idle) >= _AT_ONCE else Lane(self._network)

    async def _attempt(
        self, parcel: Parcel, target: Target, headers: Mapping[str, str], body: bytes
    ) -> Handover:
        """The outcome, known from the head of the answer, within the limit whatever the receiver does."""
        deadline = asyncio.get_running_loop().time() + self._limit
        lane = self._lane_to(target)
        reusable = False
        try:
            async with asyncio.timeout_at(deadline):
                status, answered = await lane.post(target, headers, body)
            reusable = await _drained(lane, deadline)
            return judge(status, answered, parcel, self._stamp())
        except _FAILURES as failure:
            return _failed(failure)
        finally:
            if reusable:
                self._idle.append(lane)
            else:
                await lane.aclose()


def _addressed(address: str, to: str) -> str:
    """The channel's web address with the person's own in its place."""
    return address.replace("{address}", quote(to, safe=""))


def _fixed(target: Target, body: bytes) -> dict[str, str]:
    """The headers that do not depend on the message."""
    named = f"[{target.host}]" if ":" in target.host else target.host
    usual = target.port == {"http": 80, "https": 443}[target.scheme]
    return {
        "Host": named if usual else f"{named}:{target.port}",
        "User-Agent": "bellcheck",
        "Content-Type": "application/json",
        "Content-Length": str(len(body)),
    }


async def _drained(lane: Lane, deadline: float) -> bool:
    """Whether the body ended soon, so that the connection can serve again; what it says is not used."""
    soon = asyncio.get_running_loop().time() + _DRAIN_SECONDS
    try:
        async with asyncio.timeout_at(min(deadline, soon)):
            return await lane.finish()
    except TimeoutError:
        return False


_FAILURES = (AddressRefusedError, NotReachedError, LostError, TimeoutError, h11.LocalProtocolError)


def _failed(failure: Exception) -> Handover:
    """What a failed attempt means; only what failed before the request was sent has surely not arrived."""
    if isinstance(failure, AddressRefusedError):
        return Handover("refused", str(failure), for_good=True)
    if isinstance(failure, h11.LocalProtocolError):
        return Handover("refused", "the request cannot be written as HTTP", for_good=True)
    if isinstance(failure, NotReachedError):
        return Handover("refused", str(failure))
    return Handover("timed_out", str(failure) or "no answer in time")
