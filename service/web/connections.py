"""How long a connection may take, and how many there may be: a slow or silent sender never stops a quick one.

What is no HTTP at all is answered here as well, as problem details, before the application sees it.
"""

import asyncio
import json
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from types import MappingProxyType

import h11
import uvicorn
from fastapi import FastAPI
from uvicorn.protocols.http.h11_impl import H11Protocol

from service.web.problems import MEDIA_TYPE, SOON

NOTHING: Mapping[str, str] = MappingProxyType({})

STOP_SECONDS = 2
"""How long a request under way is waited for at the end."""


@dataclass(frozen=True)
class Limits:
    """Seconds: `silent` without a first byte or between requests, `head` and `body` until all of it is here,
    `answer` until all of ours is read. `head_bytes` is the longest request line and headers together, and
    `connections` how many may be open; behind them `backlog` wait in the kernel.
    """

    silent: float = 5.0
    head: float = 10.0
    body: float = 20.0
    answer: float = 60.0
    head_bytes: int = 16 * 1024
    connections: int = 400
    backlog: int = 256


LIMITS = Limits()


def server_config(app: FastAPI, proxies: Sequence[str] = (), limits: Limits = LIMITS) -> uvicorn.Config:
    """How the application is served. `proxies` are the addresses and networks whose `X-Forwarded-For` is believed."""
    connection = type("LimitedConnection", (Connection,), {"limits": limits})
    return uvicorn.Config(
        app,
        http=connection,
        ws="none",
        access_log=False,
        log_config=None,
        server_header=False,
        lifespan="off",
        proxy_headers=bool(proxies),
        forwarded_allow_ips=list(proxies),
        backlog=limits.backlog,
        timeout_keep_alive=round(limits.silent),
        timeout_graceful_shutdown=STOP_SECONDS,
        h11_max_incomplete_event_size=limits.head_bytes,
    )


class Connection(H11Protocol):
    """One connection, with a time for each part of a request."""

    limits = LIMITS
    _part = ""
    _since = 0.0
    _timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for the first byte; where all places are taken, the longest wait makes room."""
        super().connection_made(transport)
        self._look()
        if len(self.connections) > self.limits.connections:
            self._make_room()

    def _make_room(self) -> None:
        others = (c for c in self.connections if isinstance(c, Connection) and c is not self)
        longest = min((c for c in others if c._is_waiting), key=lambda c: c._since, default=None)
        if longest is not None:
            longest.transport.abort()
        else:
            self._end_with(HTTPStatus.SERVICE_UNAVAILABLE, "All places are taken. Try again in a moment.", SOON)

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop waiting."""
        self._stop_waiting()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take what came."""
        super().data_received(data)
        self._look()

    def on_response_complete(self) -> None:
        """Wait for the next request, or for the rest of one that was answered early."""
        super().on_response_complete()
        self._look()

    def _look(self) -> None:
        """Give the part of a request that has just begun its time; a further byte of the same part brings none."""
        if self.transport.is_closing():
            self._stop_waiting()
            return
        part = self._now()
        if part != self._part:
            self._stop_waiting()
            self._part, self._since = part, self.loop.time()
            self._timer = self.loop.call_later(getattr(self.limits, part), self._waited)

    def _now(self) -> str:
        their = self.conn.their_state
        if their is h11.IDLE:
            return "head" if self.conn.trailing_data[0] else "silent"
        return "body" if their is h11.SEND_BODY else "answer"

    def timeout_keep_alive_handler(self) -> None:
        """End a connection that stays silent, also where our answer was not read."""
        if self.transport.get_write_buffer_size():
            self.transport.abort()
        super().timeout_keep_alive_handler()

    def send_400_response(self, msg: str) -> None:
        """Answer what is no HTTP by what the reader of it says is wrong: 400, 431 or 501."""
        wrong = sys.exc_info()[1]
        hint = getattr(wrong, "error_status_hint", HTTPStatus.BAD_REQUEST)
        if self.conn.our_state in (h11.IDLE, h11.SEND_RESPONSE) and self._is_waiting:
            self._end_with(HTTPStatus(hint), f"{msg} Send well-formed HTTP/1.1.")
        else:
            self.transport.close()

    @property
    def _is_waiting(self) -> bool:
        """Whether no whole request has come that is not answered yet."""
        return self.cycle is None or self.cycle.response_complete or self.cycle.more_body

    def _stop_waiting(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _waited(self) -> None:
        """The time is over: say so to whoever has begun to send, and end the connection."""
        if self._part == "head" or (self._part == "body" and not self._has_answered):
            self._end_with(HTTPStatus.REQUEST_TIMEOUT, "The request did not arrive in time. Send it again.")
        elif self._part == "answer":
            self.transport.abort()
        else:
            self.transport.close()

    @property
    def _has_answered(self) -> bool:
        return self.cycle is not None and self.cycle.response_started

    def _end_with(self, status: HTTPStatus, detail: str, more: Mapping[str, str] = NOTHING) -> None:
        problem = {"type": "about:blank", "title": status.phrase, "status": status.value, "detail": detail}
        body = json.dumps(problem).encode()
        headers = [
            ("content-type", MEDIA_TYPE),
            ("content-length", str(len(body))),
            ("cache-control", "no-store"),
            ("connection", "close"),
            *more.items(),
        ]
        # Nothing of a request that the application has begun to read may be answered a second time.
        if self.cycle is not None and not self.cycle.response_complete:
            self.cycle.disconnected = True
            self.cycle.message_event.set()
        parts = (
            h11.Response(status_code=status.value, headers=headers, reason=status.phrase.encode()),
            h11.Data(data=body),
            h11.EndOfMessage(),
        )
        self.transport.write(b"".join(self.conn.send(part) or b"" for part in parts))
        self.transport.close()
