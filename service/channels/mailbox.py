"""An IMAP mailbox that answers are fetched from: looked at, never changed.

Blocking, for one thread. Sources: RFC 9051 (UIDs, UIDVALIDITY, partial fetch), RFC 2177 (IDLE, to be begun anew
before 29 minutes are over). Mails are peeked at, so they stay as unread, unmoved and undeleted as they lay.
"""

import ssl
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import date
from time import monotonic, sleep
from typing import Any

from imapclient import IMAPClient, SocketTimeout
from imapclient.exceptions import IMAPClientError, LoginError

from service.channels.factory import may_be_plain
from service.channels.mime import MOST_BYTES
from service.channels.options import reveal, words
from service.channels.protocol import Secrets
from service.core.district import ChannelSetup

PORT = 993
FOLDER = "INBOX"
CONNECT_SECONDS = 10.0
READ_SECONDS = 30.0

IDLE_SECONDS = 60.0
"""After this long the folder is looked at and IDLE begun anew: firewalls forget quiet connections without a word, and
of a mail that comes between looking and listening nobody tells."""

POLL_SECONDS = 20.0
"""How often a server without IDLE is asked."""

_TICK = 1.0
_WHOLE = b"BODY[]<0>"


class MailboxTrouble(Exception):
    """The mailbox could not be read; the message says why in plain words, without names or secrets."""


@dataclass(frozen=True)
class MailboxServer:
    """Where the mailbox is and how to sign in; `tls` False only on this machine or where the channel allows it."""

    host: str
    port: int
    tls: bool
    user: str = field(repr=False)
    password: str = field(repr=False)
    folder: str = FOLDER


def has_mailbox(setup: ChannelSetup) -> bool:
    """Whether a channel's answers are fetched from a mailbox."""
    return setup.options.get("answers") is True and isinstance(setup.options.get("mailbox"), Mapping)


def read_mailbox(setup: ChannelSetup, secrets: Secrets) -> MailboxServer | None:
    """The mailbox that a channel's answers are fetched from; None where it has none. ValueError says what is wrong."""
    options = setup.options.get("mailbox")
    if not has_mailbox(setup) or not isinstance(options, Mapping):
        return None
    host, port = reveal(options.get("host", ""), secrets), int(reveal(options.get("port", PORT), secrets))
    tls = options.get("tls", True) is not False
    if not tls and not may_be_plain(host, port, words(setup.options.get("allow"))):
        raise ValueError("tls: no is only for a mailbox on this machine or one named under allow")
    held = {name: reveal(options.get(name, ""), secrets) for name in ("user", "password")}
    if not all(held.values()):
        raise ValueError("the mailbox needs a user and a password")
    return MailboxServer(host, port, tls, held["user"], held["password"], str(options.get("folder", FOLDER)))


class Mailbox:
    """One signed-in connection with its folder open, from `open` to `close`. All of it raises `MailboxTrouble`."""

    def __init__(self, server: MailboxServer, tls: ssl.SSLContext | None = None) -> None:
        self._server = server
        self._tls = tls
        self._client: Any = None
        self.validity = 0
        self.size = 0

    def open(self) -> None:
        """Connect, sign in and open the folder for reading only; sets `validity` and `size`."""
        server = self._server
        with _plainly("cannot be reached"):
            timeout = SocketTimeout(CONNECT_SECONDS, READ_SECONDS)
            self._client = IMAPClient(
                server.host, server.port, ssl=server.tls, ssl_context=self._tls, timeout=timeout
            )
        with _plainly("does not let us sign in"):
            self._client.login(server.user, server.password)
        with _plainly("has no such folder, or does not open it"):
            selected = self._client.select_folder(server.folder, readonly=True)
        self.validity, self.size = int(selected[b"UIDVALIDITY"]), int(selected[b"EXISTS"])

    @property
    def idles(self) -> bool:
        """Whether the server tells of new mail by itself."""
        with _plainly("breaks off"):
            return bool(self._client.has_capability("IDLE"))

    def after(self, uid: int) -> list[int]:
        """The UIDs above `uid`, in their order."""
        with _plainly("breaks off"):
            found = self._client.search(["UID", f"{uid + 1}:*"])
        # "*" is the last mail there is, also where that lies below.
        return sorted(each for each in found if each > uid)

    def since(self, day: date) -> list[int]:
        """The UIDs of mails that came on `day` or later by the server's clock."""
        with _plainly("breaks off"):
            return sorted(self._client.search(["SINCE", day]))

    def last(self) -> int:
        """The highest UID there is; 0 in an empty folder."""
        with _plainly("breaks off"):
            return max(self._client.search(["UID", "*"]), default=0)

    def fetch(self, uids: Sequence[int]) -> dict[int, bytes]:
        """Mails as they lie there, as far as they are looked at; those gone meanwhile are left out."""
        with _plainly("breaks off"):
            found = self._client.fetch(list(uids), [f"BODY.PEEK[]<0.{MOST_BYTES}>"])
        return {uid: bytes(parts[_WHOLE] or b"") for uid, parts in sorted(found.items()) if _WHOLE in parts}

    def wait(self, stops: Callable[[], bool]) -> None:
        """Until there may be something new, or `stops` says so."""
        idles = self.idles
        until = monotonic() + (IDLE_SECONDS if idles else POLL_SECONDS)
        if not idles:
            while monotonic() < until and not stops():
                sleep(_TICK)
            return
        with _plainly("breaks off"):
            self._client.idle()
            said: list[Any] = []
            while not said and monotonic() < until and not stops():
                said = self._client.idle_check(timeout=_TICK)
            self._client.idle_done()

    def close(self) -> None:
        """Take leave; never raises."""
        client, self._client = self._client, None
        if client is not None:
            with suppress(Exception):
                client.logout()
            with suppress(Exception):
                client.shutdown()


@contextmanager
def _plainly(what: str) -> Iterator[None]:
    """Failures of network, TLS and protocol in plain words: a server's own may hold names."""
    try:
        yield
    except LoginError:
        raise MailboxTrouble("the mailbox server does not take the name or the password") from None
    except ssl.SSLCertVerificationError as error:
        raise MailboxTrouble(f"the mailbox server's certificate: {error.verify_message}") from None
    except OSError as error:
        raise MailboxTrouble(f"the mailbox server {what} ({error.strerror or type(error).__name__})") from None
    except (IMAPClientError, ValueError, KeyError, AttributeError, AssertionError, TypeError, IndexError) as error:
        raise MailboxTrouble(f"the mailbox server {what} ({type(error).__name__})") from None


def probe(server: MailboxServer, tls: ssl.SSLContext | None = None) -> str:
    """Open the mailbox once; says in plain words what is there. MailboxTrouble says what is wrong."""
    mailbox = Mailbox(server, tls)
    try:
        mailbox.open()
        told = "tells of new mail by itself" if mailbox.idles else f"is asked every {POLL_SECONDS:.0f} s"
        return f"opened, {mailbox.size} mails, {told}"
    finally:
        mailbox.close()
