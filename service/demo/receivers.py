"""The other end of the demo's channels, on this machine: a web receiver that checks signatures, and a mail server."""

import asyncio
import json
import socket
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Self

import uvicorn
from aiosmtpd.smtp import SMTP, Envelope, Session
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from service.channels.signature import Rejected, verify
from service.demo.pockets import Note, Pockets, body_lines
from service.demo.stage import MONITOR_PLACE, SECRET
from service.engine.clock import wall_now

HOST = "127.0.0.1"
LARGEST = 256 * 1024
STOP_SECONDS = 1
FINISH_SECONDS = 3.0


class _Server(uvicorn.Server):
    """A web server without signal handlers of its own: the whole demo stops together."""

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Leave signals to whoever runs the demo."""
        yield


class Receivers:
    """Takes what the channels send and puts it into pockets. A context within one event loop.

    `held` holds the signing secret; `owners` says whose an address is.
    """

    def __init__(self, pockets: Pockets) -> None:
        self.pockets = pockets
        self.held: Mapping[str, str] = {}
        self.owners: Mapping[str, str] = {}
        self._web, self._mail = _socket(), _socket()
        self.url = f"http://{HOST}:{self._web.getsockname()[1]}"
        self.mail_port: int = self._mail.getsockname()[1]

    async def __aenter__(self) -> Self:
        """Listen."""
        app = Starlette(routes=[Route("/{address}", self._take, methods=["POST"])])
        self._server = _Server(
            uvicorn.Config(
                app,
                access_log=False,
                log_config=None,
                lifespan="off",
                timeout_graceful_shutdown=STOP_SECONDS,
            )
        )
        self._serving = asyncio.create_task(self._server.serve(sockets=[self._web]), name="phones")
        loop = asyncio.get_running_loop()
        self._post = await loop.create_server(
            lambda: SMTP(self, hostname="mail.larkfield.example", data_size_limit=LARGEST), sock=self._mail
        )
        return self

    async def __aexit__(self, *_: object) -> None:
        """Stop listening."""
        self._post.close()
        self._server.should_exit = True
        with suppress(TimeoutError):
            await asyncio.wait_for(self._serving, FINISH_SECONDS)

    async def _take(self, request: Request) -> Response:
        """One webhook: believed only with a valid signature, then put into its owner's pocket."""
        body = await request.body()
        judged = verify((self.held[SECRET],), dict(request.headers.items()), body, wall_now())
        if isinstance(judged, Rejected):
            self.pockets.refused.append(judged.reason)
            return Response(status_code=401)
        if request.path_params["address"] == MONITOR_PLACE:
            return Response(status_code=204)
        person = self.owners.get(request.path_params["address"])
        if person is None:
            self.pockets.refused.append("there is no such phone")
            return Response(status_code=410)
        self.pockets.put(person, self._note(judged.id, json.loads(body)))
        return Response(status_code=204)

    def _note(self, id: str, document: Mapping[str, str | None]) -> Note:
        headline = document.get("headline") or document.get("lock_line") or ""
        words, link = document.get("words") or document.get("text") or "", document.get("link")
        purpose = document.get("kind") or document.get("purpose") or ""
        return Note(id, self.pockets.now(), headline, body_lines(words, headline, link), link, purpose)

    async def handle_DATA(self, _server: SMTP, _session: Session, envelope: Envelope) -> str:  # noqa: N802
        """One mail, put into the pocket of everyone it is for."""
        content = envelope.original_content or b""
        mail = message_from_bytes(content, policy=policy.default)
        for address in envelope.rcpt_tos:
            person = self.owners.get(address.casefold())
            if person is None:
                self.pockets.refused.append("there is no such mailbox")
                return "550 5.1.1 there is no such mailbox"
            self.pockets.put(person, self._letter(mail))
        return "250 2.0.0 taken"

    def _letter(self, mail: EmailMessage) -> Note:
        part = mail.get_body(("plain",))
        text = str(part.get_content()) if part is not None else ""
        headline = str(mail["subject"] or "")
        link = next((line for line in text.splitlines() if line.startswith("http")), None)
        id = str(mail["message-id"] or "").strip("<> ").partition("@")[0]
        return Note(id, self.pockets.now(), headline, body_lines(text, headline, link), link, by_mail=True)


def _socket() -> socket.socket:
    return socket.create_server((HOST, 0))
