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

import httpcore

from service.channels import template
from service.channels.addresses import AddressGuard, AddressRefusedError, Target, is_allowed, read_target
from service.channels.answers import judge
from service.channels.network import GuardedNetwork, Lane
from service.channels.options import reveal
from service.channels.protocol import Handover, Parcel, Secrets, Stamp
from service.channels.signature import headers_for

ANSWER_AT_MOST = 4096
"""Bytes of an answer's body after which reading stops and the connection is given up."""

_DRAIN_SECONDS = 1.0
_AT_ONCE = 32


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
        self._tls = tls
        self._guard = guard
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
            return await self._attempt(parcel, _request(target, headers, body))

    async def probe(self, to_address: str | None = None) -> Handover:
        """Resolve, connect and agree on TLS, without a request."""
        if to_address is None and self._plan.address is None:
            return Handover("accepted", "nothing to try: every person has an address of their own")
        try:
            target, _ = self._target(to_address or "")
        except ValueError as wrong:
            return Handover("refused", str(wrong), for_good=True)
        try:
            async with asyncio.timeout(self._limit):
                await self._touch(target)
        except TimeoutError:
            return Handover("timed_out", "no connection in time")
        except _FAILURES as failure:
            return _failed(failure)
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

    async def _attempt(self, parcel: Parcel, request: httpcore.Request) -> Handover:
        lane = self._idle.pop() if self._idle else self._new_lane()
        reusable = False
        try:
            handover, reusable = await self._post(lane, parcel, request)
        except TimeoutError:
            handover = Handover("timed_out", "no answer in time")
        except _FAILURES as failure:
            handover = _failed(failure)
        finally:
            if reusable:
                self._idle.append(lane)
            else:
                await lane.aclose()
        return handover

    async def _post(self, lane: Lane, parcel: Parcel, request: httpcore.Request) -> tuple[Handover, bool]:
        """The outcome, known from the head of the answer, and whether the connection can serve again."""
        deadline = asyncio.get_running_loop().time() + self._limit
        async with asyncio.timeout_at(deadline):
            response = await lane.post(request)
        try:
            handover = judge(response.status, _head(response), parcel, self._stamp())
            return handover, await _drained(response, deadline)
        finally:
            await response.aclose()

    def _new_lane(self) -> Lane:
        return Lane(GuardedNetwork(self._guard, self._plan.allowed, self._limit), self._tls)

    async def _touch(self, target: Target) -> None:
        network = GuardedNetwork(self._guard, self._plan.allowed, self._limit)
        try:
            stream = await network.connect_tcp(target.host, target.port)
            if target.scheme == "https":
                await stream.start_tls(self._tls, server_hostname=target.host)
        finally:
            await network.aclose()


def _addressed(address: str, to: str) -> str:
    """The channel's web address with the person's own in its place."""
    return address.replace("{address}", quote(to, safe=""))


def _request(target: Target, headers: Mapping[str, str], body: bytes) -> httpcore.Request:
    named = f"[{target.host}]" if ":" in target.host else target.host
    usual = target.port == {"http": 80, "https": 443}[target.scheme]
    fields = {
        "Host": named if usual else f"{named}:{target.port}",
        "Content-Type": "application/json",
        "Content-Length": str(len(body)),
        "User-Agent": "bellcheck",
        "Accept": "*/*",
        **headers,
    }
    url = httpcore.URL(scheme=target.scheme, host=target.host, port=target.port, target=target.path)
    return httpcore.Request("POST", url, headers=list(fields.items()), content=body)


def _head(response: httpcore.Response) -> dict[str, str]:
    return {name.decode("latin-1").lower(): value.decode("latin-1") for name, value in response.headers}


async def _drained(response: httpcore.Response, deadline: float) -> bool:
    """Whether the body ended within a little reading; what it says is not used."""
    read = 0
    try:
        async with asyncio.timeout_at(min(deadline, asyncio.get_running_loop().time() + _DRAIN_SECONDS)):
            async for chunk in response.aiter_stream():
                read += len(chunk)
                if read > ANSWER_AT_MOST:
                    return False
    except (TimeoutError, httpcore.NetworkError, httpcore.ProtocolError):
        return False
    return True


_FAILURES = (
    AddressRefusedError,
    httpcore.TimeoutException,
    httpcore.NetworkError,
    httpcore.ProtocolError,
)


def _failed(failure: Exception) -> Handover:
    """What a failed attempt means; only what failed before the request was sent has surely not arrived."""
    if isinstance(failure, AddressRefusedError):
        return Handover("refused", str(failure), for_good=True)
    if isinstance(failure, httpcore.LocalProtocolError):
        return Handover("refused", "the request cannot be written as HTTP", for_good=True)
    if isinstance(failure, httpcore.ConnectTimeout):
        return Handover("timed_out", "no connection in time")
    if isinstance(failure, httpcore.ConnectError):
        certificate = isinstance(failure.__cause__ or failure.__context__, ssl.SSLError)
        return Handover("refused", "TLS failed: certificate not valid" if certificate else "no connection")
    return Handover("timed_out", "the connection was lost before an answer could be read")
