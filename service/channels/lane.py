"""One connection to a receiver, made to a checked address, kept for a while for the next message.

HTTP/1.1 is read and written by h11; what is ours is where the connection goes and how little is read. TLS is
verified for the name in the web address, whatever address the name led to.
"""

import asyncio
import ssl
import time
from collections.abc import Awaitable, Callable, Collection, Mapping
from contextlib import suppress
from dataclasses import dataclass

import h11

from service.channels.addresses import AddressGuard, Target

ANSWER_AT_MOST = 4096
"""Bytes of an answer's body after which reading stops and the connection is given up."""

_KEPT_IDLE_SECONDS = 3.0
_BUFFER = 8192

Streams = tuple[asyncio.StreamReader, asyncio.StreamWriter]
Dial = Callable[..., Awaitable[Streams]]
"""Connects to an address and port as `asyncio.open_connection` does."""


class NotReachedError(Exception):
    """There was no connection, so nothing was sent; the words say why, without the address."""


class LostError(Exception):
    """The connection broke, or the answer was no HTTP: what was sent may or may not have arrived."""


@dataclass(frozen=True)
class Network:
    """How lanes connect. `allowed` hosts may lie anywhere; the addresses of a name share half of `seconds`."""

    guard: AddressGuard
    allowed: Collection[str]
    tls: ssl.SSLContext
    seconds: float
    dial: Dial = asyncio.open_connection

    async def connect(self, target: Target) -> Streams:
        """Connect to the first of the target's checked addresses that answers.

        AddressRefusedError when the guard says no, NotReachedError when none answers, TimeoutError when the
        last takes too long.
        """
        try:
            addresses = await self.guard.addresses(target.host, target.port, self.allowed)
        except OSError:
            raise NotReachedError("name not found") from None
        share = self.seconds / 2 / len(addresses)
        for address in addresses[:-1]:
            with suppress(NotReachedError, TimeoutError):
                return await self._connect(target, address, share)
        return await self._connect(target, addresses[-1], share)

    async def _connect(self, target: Target, address: str, seconds: float) -> Streams:
        secure = {"ssl": self.tls, "server_hostname": target.host} if target.scheme == "https" else {}
        try:
            async with asyncio.timeout(seconds):
                return await self.dial(address, target.port, limit=_BUFFER, **secure)
        except TimeoutError:
            raise
        except ssl.SSLCertVerificationError:
            raise NotReachedError("TLS failed: certificate not valid for the name") from None
        except ssl.SSLError:
            raise NotReachedError("TLS failed") from None
        except OSError:
            raise NotReachedError("no connection") from None


@dataclass
class _Open:
    target: Target
    reader: asyncio.StreamReader
    writer: asyncio.StreamWriter
    http: h11.Connection
    used: float

    def serves(self, target: Target) -> bool:
        """Whether another message to `target` can go over it."""
        same = (self.target.scheme, self.target.host, self.target.port) == (
            target.scheme,
            target.host,
            target.port,
        )
        alive = not (self.reader.at_eof() or self.writer.is_closing())
        return same and alive and time.monotonic() - self.used < _KEPT_IDLE_SECONDS


class Lane:
    """Posts one message after the other, over one connection as long as that lasts."""

    def __init__(self, network: Network) -> None:
        self._network = network
        self._open: _Open | None = None

    async def post(
        self, target: Target, headers: Mapping[str, str], body: bytes
    ) -> tuple[int, dict[str, str]]:
        """Status and headers (names in lower case) of the answer; the body is left for `finish`.

        Raises what `Network.connect` raises, and LostError.
        """
        line = await self.reach(target)
        request = h11.Request(method="POST", target=target.path, headers=list(headers.items()))
        parts = (request, h11.Data(data=body), h11.EndOfMessage())
        try:
            line.writer.write(b"".join(line.http.send(part) or b"" for part in parts))
            await line.writer.drain()
            while True:
                event = await _next_event(line)
                if isinstance(event, h11.Response):
                    return event.status_code, _plain(event)
        except (OSError, h11.RemoteProtocolError):
            raise LostError("the connection was lost before an answer could be read") from None

    def leads_to(self, target: Target) -> bool:
        """Whether a message to `target` can go over the connection as it is."""
        return self._open is not None and self._open.serves(target)

    async def finish(self) -> bool:
        """Read the body's end if it is near; whether the connection can serve again."""
        line, read = self._open, 0
        if line is None:
            return False
        with suppress(OSError, h11.RemoteProtocolError):
            while read <= ANSWER_AT_MOST:
                event = await _next_event(line)
                if isinstance(event, h11.EndOfMessage):
                    return _renewed(line)
                read += len(event.data) if isinstance(event, h11.Data) else 0
        return False

    async def reach(self, target: Target) -> _Open:
        """A connection to `target`, the kept one if it will do."""
        if self._open is None or not self._open.serves(target):
            await self.aclose()
            reader, writer = await self._network.connect(target)
            self._open = _Open(target, reader, writer, h11.Connection(h11.CLIENT), time.monotonic())
        return self._open

    async def aclose(self) -> None:
        """Close the connection, in whatever state it is."""
        if self._open is not None:
            self._open.writer.transport.abort()
            self._open = None
            await asyncio.sleep(0)


async def _next_event(line: _Open) -> h11.Event:
    """The next part of the answer. RemoteProtocolError when it is no HTTP or breaks off."""
    while (event := line.http.next_event()) is h11.NEED_DATA:
        line.http.receive_data(await line.reader.read(_BUFFER))
    if isinstance(event, type | h11.ConnectionClosed):
        raise h11.RemoteProtocolError("the answer does not end as it should")
    return event


def _renewed(line: _Open) -> bool:
    """Ready for another message, unless the receiver closes or has said more than it was asked."""
    if line.http.trailing_data[0]:
        return False
    try:
        line.http.start_next_cycle()
    except h11.LocalProtocolError:
        return False
    line.used = time.monotonic()
    return True


def _plain(answer: h11.Response) -> dict[str, str]:
    return {name.decode("latin-1"): value.decode("latin-1") for name, value in answer.headers}
