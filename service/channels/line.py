"""One connection to a mail server, kept open between mails, and what the server's answers mean.

Blocking, for one worker thread. Sources: RFC 5321 4.2.1 (4yz may be tried again, 5yz not), RFC 3207
(STARTTLS). Only `cut` may be called from another thread.
"""

import re
import smtplib
import socket
import ssl
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass

from service.channels.letter import Letter
from service.channels.protocol import Handover

_KEPT_IDLE_SECONDS = 60.0
_FRESH_SECONDS = 1.0
_ENHANCED = re.compile(r"[245]\.\d{1,3}\.\d{1,3}\b", re.ASCII)


@dataclass(frozen=True)
class MailServer:
    """The mail server and how to sign in. Without `starttls` the line is open to read on its way."""

    host: str
    port: int
    starttls: bool
    user: str | None
    password: str | None
    own_name: str


class _Session(smtplib.SMTP):
    """A session that makes itself known before it connects, so that a hanging greeting can be cut."""

    def __init__(self, server: MailServer, seconds: float, known: Callable[[smtplib.SMTP], None]) -> None:
        known(self)
        super().__init__(server.host, server.port, server.own_name, seconds)


class Line:
    """A kept connection to one mail server; `seconds` bounds each wait for the server."""

    def __init__(self, server: MailServer, seconds: float, tls: ssl.SSLContext) -> None:
        self._server = server
        self._seconds = seconds
        self._tls = tls
        self._smtp: smtplib.SMTP | None = None
        self._used = 0.0

    def send(self, letter: Letter) -> Handover:
        """Hand over one letter. A kept connection that has gone stale is replaced once, unseen."""
        try:
            smtp = self._kept()
            if smtp is None or not self._opened(smtp, letter):
                smtp = self._connect()
                self._open(smtp, letter)
            self._expect(smtp.rcpt(letter.to_address))
        except _FAILURES as failure:
            self.drop()
            return _failed(failure)
        return self._data(smtp, letter)

    def probe(self) -> Handover:
        """Connect and sign in, without a letter."""
        try:
            smtp = self._kept() or self._connect()
            self._expect(smtp.noop())
        except _FAILURES as failure:
            self.drop()
            return _failed(failure)
        return Handover("accepted", "mail server reached" + (", signed in" if self._server.user else ""))

    def drop(self) -> None:
        """Close the connection without a word."""
        if self._smtp is not None:
            self._smtp.close()
            self._smtp = None

    def quit(self) -> None:
        """Take leave of the server and close."""
        if self._smtp is not None:
            with suppress(*_FAILURES):
                self._smtp.quit()
        self.drop()

    def cut(self) -> None:
        """End whatever the worker thread is waiting for; from any thread."""
        sock = self._smtp.sock if self._smtp is not None else None
        if sock is not None:
            with suppress(OSError):
                socket.socket.shutdown(sock, socket.SHUT_RDWR)

    def _kept(self) -> smtplib.SMTP | None:
        """The open connection if it still answers."""
        idle = time.monotonic() - self._used
        if self._smtp is None or idle < _FRESH_SECONDS:
            return self._smtp
        with suppress(*_FAILURES):
            if idle < _KEPT_IDLE_SECONDS and self._smtp.noop()[0] == 250:
                return self._smtp
        self.drop()
        return None

    def _connect(self) -> smtplib.SMTP:
        self.drop()
        server = self._server
        smtp = _Session(server, self._seconds, self._hold)
        smtp.ehlo_or_helo_if_needed()
        if server.starttls:
            smtp.starttls(context=self._tls)
            smtp.ehlo()
        if server.user is not None:
            smtp.login(server.user, server.password or "")
        return smtp

    def _hold(self, smtp: smtplib.SMTP) -> None:
        self._smtp = smtp

    def _opened(self, smtp: smtplib.SMTP, letter: Letter) -> bool:
        """Whether a kept connection takes the next letter; a server may have had enough of it."""
        try:
            self._open(smtp, letter)
        except smtplib.SMTPServerDisconnected:
            return False
        except smtplib.SMTPResponseException as answer:
            if answer.smtp_code == 421:
                return False
            raise
        return True

    def _open(self, smtp: smtplib.SMTP, letter: Letter) -> None:
        options = []
        if letter.beyond_ascii:
            if not smtp.has_extn("smtputf8"):
                raise smtplib.SMTPNotSupportedError("SMTPUTF8")
            options = ["SMTPUTF8", "BODY=8BITMIME"]
            smtp.command_encoding = "utf-8"
        self._expect(smtp.mail(letter.from_address, options))

    def _data(self, smtp: smtplib.SMTP, letter: Letter) -> Handover:
        """Send the content. From here on a lost connection may mean that the letter was taken."""
        try:
            self._expect(smtp.data(letter.content))
        except smtplib.SMTPResponseException as answer:
            self.drop()
            return _failed(answer)
        except (smtplib.SMTPException, OSError):
            self.drop()
            return Handover("timed_out", "the connection was lost after the mail was handed over")
        self._used = time.monotonic()
        return Handover("accepted", "taken by the mail server")

    @staticmethod
    def _expect(answer: tuple[int, bytes]) -> None:
        if not 200 <= answer[0] <= 299:
            raise smtplib.SMTPResponseException(answer[0], answer[1])


_FAILURES = (smtplib.SMTPException, OSError, ValueError)


def _failed(failure: Exception) -> Handover:
    """What a failure before or instead of the hand-over means; the server's own words stay out of it.

    smtplib tells a wait that ran out as a lost connection, with the wait as its context.
    """
    if isinstance(failure, smtplib.SMTPResponseException):
        return _answered(failure.smtp_code, failure.smtp_error)
    if isinstance(failure, smtplib.SMTPNotSupportedError):
        return Handover("refused", f"the mail server does not offer {_wanted(failure)}", for_good=True)
    if isinstance(failure, ssl.SSLCertVerificationError):
        return Handover("refused", "TLS failed: certificate not valid for the name")
    if isinstance(failure, ssl.SSLError):
        return Handover("refused", "TLS failed")
    if isinstance(failure, TimeoutError) or isinstance(failure.__context__, TimeoutError):
        return Handover("timed_out", "no answer in time")
    if isinstance(failure, ValueError):
        return Handover("refused", "the address or the password cannot be written in SMTP", for_good=True)
    return Handover("refused", "no connection to the mail server")


def _wanted(failure: smtplib.SMTPNotSupportedError) -> str:
    named = str(failure)
    return next((each for each in ("STARTTLS", "SMTPUTF8") if each in named), "a way to sign in that we know")


def _answered(code: int, words: bytes | str) -> Handover:
    text = words.decode("ascii", "replace") if isinstance(words, bytes) else words
    enhanced = _ENHANCED.match(text)
    detail = f"mail server answered {code}" + (f" {enhanced[0]}" if enhanced else "")
    if 400 <= code <= 499:
        return Handover("deferred", detail)
    return Handover("refused", detail, for_good=500 <= code <= 599)
