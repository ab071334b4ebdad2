"""Real mail servers on loopback: a proper one, and ones that misbehave at a chosen moment."""

import socket
import ssl
import threading
from collections.abc import Callable
from contextlib import suppress
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Self

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session

PASSWORD = "an-invented-password"


class Postbox:
    """Takes mail, or answers RCPT and DATA as told; keeps what it took in `mails`."""

    def __init__(self, rcpt: str = "250 OK", data: str = "250 OK") -> None:
        self.rcpt, self.data = rcpt, data
        self.envelopes: list[Envelope] = []
        self.sessions = 0

    @property
    def mails(self) -> list[EmailMessage]:
        """The mails taken, parsed."""
        return [message_from_bytes(each.original_content, policy=policy.default) for each in self.envelopes]

    async def handle_EHLO(  # noqa: N802
        self, server: SMTP, session: Session, envelope: Envelope, hostname: str, responses: list[str]
    ) -> list[str]:
        self.sessions += session.ssl is None
        session.host_name = hostname
        return responses

    async def handle_RCPT(  # noqa: N802
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if self.rcpt.startswith("2"):
            envelope.rcpt_tos.append(address)
        return self.rcpt

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802
        if self.data.startswith("2"):
            self.envelopes.append(envelope)
        return self.data


class MailServer(Controller):
    """A server on a free port of this machine, used as a context."""

    def __init__(self, postbox: Postbox, tls: ssl.SSLContext | None = None, *, sign_in: bool = False) -> None:
        others = {"tls_context": tls, "require_starttls": tls is not None} if tls else {}
        if sign_in:
            others |= {"authenticator": _sign_in, "auth_require_tls": tls is not None}
        super().__init__(postbox, hostname="127.0.0.1", port=_free_port(), enable_SMTPUTF8=False, **others)

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()


def _sign_in(server: SMTP, session: Session, envelope: Envelope, mechanism: str, data: object) -> AuthResult:
    good = isinstance(data, LoginPassword) and data.password == PASSWORD.encode()
    return AuthResult(success=good, handled=good)


def _free_port() -> int:
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return sock.getsockname()[1]


class Scripted:
    """A server in a thread that runs one function per connection, for behaviour that no proper server has."""

    def __init__(self, *scripts: Callable[[socket.socket], None]) -> None:
        self._scripts = list(scripts)
        self.connections = 0
        self.ended = threading.Event()

    def __enter__(self) -> Self:
        self._socket = socket.create_server(("127.0.0.1", 0))
        self.port = self._socket.getsockname()[1]
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._socket.close()
        self._thread.join(5)

    def _serve(self) -> None:
        for script in self._scripts:
            try:
                connection, _ = self._socket.accept()
            except OSError:
                return
            self.connections += 1
            with connection:
                connection.settimeout(5)
                with suppress(OSError):
                    script(connection)
        self.ended.set()


def talk(connection: socket.socket, *answers: str, greeting: str = "220 mail.school.example ESMTP") -> None:
    """Greet, then answer each command in turn."""
    connection.sendall(f"{greeting}\r\n".encode())
    lines = connection.makefile("rb")
    for answer in answers:
        if not lines.readline():
            return
        connection.sendall(f"{answer}\r\n".encode())


def read_content(connection: socket.socket) -> bytes:
    """The content of a mail after 354, up to its final dot."""
    content = b""
    while not content.endswith(b"\r\n.\r\n"):
        piece = connection.recv(65536)
        if not piece:
            return content
        content += piece
    return content
