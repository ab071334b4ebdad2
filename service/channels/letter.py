"""A parcel as a mail: headers that thread and cannot be forged from within, text and HTML parts.

Sources: RFC 5322 3.6.4 (threading), RFC 3834 (`Auto-Submitted`), RFC 6531 (addresses beyond ASCII). We leave
out `X-Auto-Response-Suppress` on purpose: an out-of-office answer tells that somebody cannot be reached.
"""

from dataclasses import dataclass
from datetime import datetime
from email.errors import MessageError
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP, SMTPUTF8
from email.utils import format_datetime

from service.channels.protocol import Parcel


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
    name, angle, rest = text.partition("<")
    spec = rest.removesuffix(">") if angle else text
    bad = any(not sign.isprintable() or sign.isspace() or sign in '<>(),;:"\\' for sign in spec.strip())
    if bad or (angle and not rest.endswith(">")):
        raise ValueError("not a mail address; one reads name@school.example")
    local, at, domain = spec.strip().rpartition("@")
    if not (local and at and domain) or "@" in local:
        raise ValueError("not a mail address; one reads name@school.example")
    try:
        plain_domain = domain.encode("idna").decode("ascii")
        return Address(_one_line(name).strip('" '), local, plain_domain)
    except (UnicodeError, MessageError, ValueError, IndexError):
        raise ValueError("not a mail address; one reads name@school.example") from None


def write(parcel: Parcel, sender: Sender, address: str, now: datetime) -> Letter:
    """The parcel as a letter to `address`, dated `now` (real time). ValueError when it is no mail address."""
    to = read_address(address)
    beyond_ascii = not (to.addr_spec.isascii() and sender.address.addr_spec.isascii())
    mail = EmailMessage(policy=SMTPUTF8 if beyond_ascii else SMTP)
    mail["From"] = sender.address
    mail["To"] = to
    mail["Subject"] = _one_line(parcel.subject)
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
    mail["Message-ID"] = _message_id(parcel.id, domain)
    first = None if parcel.thread in {None, parcel.id} else parcel.thread
    answered = parcel.in_reply_to or first
    if answered is not None:
        mail["In-Reply-To"] = _message_id(answered, domain)
        line = dict.fromkeys(_message_id(each, domain) for each in (first or answered, answered))
        mail["References"] = " ".join(line)


def _message_id(id: str, domain: str) -> str:
    """Our own ids get our domain; the id of a mail we received has its own and stays as it is."""
    bare = "".join(sign for sign in id if "!" <= sign <= "~" and sign not in "<>")
    return f"<{bare}>" if "@" in bare else f"<{bare}@{domain}>"


def _with_token(replies: Address, token: str) -> Address:
    if not (token.isascii() and token.replace("-", "").replace("_", "").isalnum()):
        raise ValueError("a reply token holds letters, digits, - and _ only")
    return Address(replies.display_name, f"{replies.username}+{token}", replies.domain)


def _one_line(text: str) -> str:
    """The text on one line, without control signs: a header ends where its line ends."""
    return "".join(sign for sign in " ".join(_plain(text).split()) if sign.isprintable())


def _plain(text: str) -> str:
    """The text without half surrogate pairs and NULs, which no mail can carry."""
    return text.encode("utf-8", "replace").decode("utf-8").replace("\0", "")
