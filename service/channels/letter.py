"""A parcel as a mail: headers that thread and cannot be forged from within, text and HTML parts.

Sources: RFC 5322 3.6.4 (threading), RFC 3834 (`Auto-Submitted`), RFC 6531 (addresses beyond ASCII). We leave
out `X-Auto-Response-Suppress` on purpose: an out-of-office answer tells that somebody cannot be reached.
"""

import base64
import hashlib
import re
from dataclasses import dataclass
from datetime import datetime
from email.errors import MessageError
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP, SMTPUTF8
from email.utils import format_datetime

from service.channels.protocol import Parcel

_SPEC = r"(?P<local>[^\s@<>(),;:\"\\]+)@(?P<domain>[^\s@<>(),;:\"\\]+)"
_BARE = re.compile(r"\s*" + _SPEC + r"\s*")
_NAMED = re.compile(r"\s*\"?(?P<name>[^@<>,;:\"\\]*?)\"?\s*<" + _SPEC + r">\s*")
_DOMAIN = re.compile(r"[A-Za-z0-9._-]{1,253}", re.ASCII)
_ATOM = r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+"
_DOT_ATOM = _ATOM + r"(?:\." + _ATOM + r")*"
_ID = re.compile(_DOT_ATOM + "(?:@" + _DOT_ATOM + ")?", re.ASCII)
_LOCAL_AT_MOST = 64
_MARK = re.compile(r"\[([a-z2-7]{6})\]\s*$")
_SUBJECT_END = 100
_NO_ADDRESS = "not a mail address; one reads name@school.example"


@dataclass(frozen=True)
class Sender:
    """Who our mails are from, the domain of their ids, and the address that replies go to."""

    address: Address
    domain: str
    replies: Address


@dataclass(frozen=True)
class Letter:
    """A mail ready for the wire. `beyond_ascii` asks for a server that knows SMTPUTF8 (RFC 6531)."""

    from_address: str
    to_address: str
    content: bytes
    beyond_ascii: bool


def read_address(text: str) -> Address:
    """One mail address, with or without a name before it. ValueError when it is not exactly one."""
    found = _NAMED.fullmatch(text) or _BARE.fullmatch(text)
    if found is None or not text.isprintable():
        raise ValueError(_NO_ADDRESS)
    parts = found.groupdict(default="")
    try:
        plain_domain = parts["domain"].encode("idna").decode("ascii")
        if not _DOMAIN.fullmatch(plain_domain):
            raise ValueError(_NO_ADDRESS)
        return Address(parts.get("name", ""), parts["local"], plain_domain)
    except (UnicodeError, MessageError, ValueError, IndexError):
        raise ValueError(_NO_ADDRESS) from None


def write(parcel: Parcel, sender: Sender, address: str, now: datetime) -> Letter:
    """The parcel as a letter to `address`, dated `now` (real time). ValueError when it is no mail address, or
    when id or reply token cannot stand in a mail's header."""
    to = read_address(address)
    beyond_ascii = not (to.addr_spec.isascii() and sender.address.addr_spec.isascii())
    mail = EmailMessage(policy=SMTPUTF8 if beyond_ascii else SMTP)
    mail["From"] = sender.address
    mail["To"] = to
    mail["Subject"] = _one_line(_marked(parcel))
    mail["Date"] = format_datetime(now)
    mail["Auto-Submitted"] = parcel.automatic
    _thread(mail, parcel, sender.domain)
    if parcel.reply_token is not None:
        mail["Reply-To"] = _with_token(sender.replies, parcel.reply_token)
    mail.set_content(_plain(parcel.text), cte="quoted-printable")
    if parcel.html is not None:
        mail.add_alternative(_plain(parcel.html), subtype="html", cte="quoted-printable")
    return Letter(sender.address.addr_spec, to.addr_spec, mail.as_bytes(), beyond_ascii)


def _thread(mail: EmailMessage, parcel: Parcel, domain: str) -> None:
    own = _message_id(parcel.id, domain)
    if own is None:
        raise ValueError("the message's id cannot stand in a Message-ID")
    mail["Message-ID"] = own
    first = None if parcel.thread == parcel.id else _message_id(parcel.thread, domain)
    answered = _message_id(parcel.in_reply_to, domain) or first
    if answered is not None:
        mail["In-Reply-To"] = answered
        mail["References"] = " ".join(dict.fromkeys((first or answered, answered)))


def _message_id(id: str | None, domain: str) -> str | None:
    """Our own ids get our domain; the id of a mail we received has its own and stays as it is. None for an id
    that RFC 5322 does not know: a reference that is left out costs less than a mail that is not sent.
    """
    if id is None or not _ID.fullmatch(id):
        return None
    return f"<{id}>" if "@" in id else f"<{id}@{domain}>"


def _with_token(replies: Address, token: str) -> Address:
    if not (token.isascii() and token.replace("-", "").replace("_", "").isalnum()):
        raise ValueError("a reply token holds letters, digits, - and _ only")
    username = f"{replies.username}+{token}"
    # RFC 5321 4.5.3.1.1; an answer to the plain address is still read, by its thread and sender.
    return Address(replies.display_name, username, replies.domain) if len(username) <= _LOCAL_AT_MOST else replies


def mark_of(token: str) -> str:
    """A short word for the subject that tells one person's round from another's where a mail program keeps neither
    thread nor reply address. It is no proof of anything.
    """
    secret = token.rpartition("-")[2]
    return base64.b32encode(hashlib.sha256(secret.encode()).digest()).decode()[:6].lower()


def mark_in(subject: str) -> str | None:
    """The mark that a subject ends with, whatever stands before it."""
    found = _MARK.search(subject[-_SUBJECT_END:])
    return found[1] if found else None


def _marked(parcel: Parcel) -> str:
    return f"{parcel.subject} [{mark_of(parcel.reply_token)}]" if parcel.reply_token else parcel.subject


def _one_line(text: str) -> str:
    """The text on one line, without control signs: a header ends where its line ends."""
    return "".join(sign for sign in " ".join(_plain(text).split()) if sign.isprintable())


def _plain(text: str) -> str:
    """The text without half surrogate pairs and NULs, which no mail can carry."""
    return text.encode("utf-8", "replace").decode("utf-8").replace("\0", "")
