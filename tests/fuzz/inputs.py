"""Made-up mails and words, none of them good news: what people and programs send, whole and broken.

Words are put together from what says that something is wrong, or nothing at all; no good word is in them, nor can a
letter less make one. So whatever is read from them, it must never be good.
"""

import base64
import quopri
from collections.abc import Callable
from dataclasses import dataclass
from random import Random

BAD = (
    "2 battery flat", "1 no light, 3 cable", "sore ear on 2", "left one whistles", "3 away", "later", "?", "2", "",
    "help", "who", "undo", "not me", "1 pile à plat", "2 pila gastada, 1 cable roto", "Tree01 has lost the coil",
    "2 missed s sh", "a child swallowed a battery", "the purple one did a thing", "3 maybe", "2 swollen 1 hot",
)  # fmt: skip
"""What somebody may have typed."""

ODD = (
    *"\0\t\x0b\x1b\x7f\x85\u00a0\u00ad\u0301\u0327\u05d0\u0627\u200b\u200e\u202e\u2066\u2028\ufeff\uff12\ufffd\U0001f300",
    "2️⃣", "1)", "#2:", "½", "²", "1-3", "1..99", "-1", "99999999999999999999", "٢", "...", ",,,", "(((", '"', "&amp;",
    "%s", "%(n)s", "{link}", "{{ 7 }}", "<b>", "';--", "\\", "//", "http://x.example/", "@", "🔋", "🤷",
)  # fmt: skip
"""Characters that upset programs."""

HEADERS = (
    b"Content-Type: multipart/mixed; boundary=b\r\n", b"Content-Type: multipart/alternative; boundary=b\r\n",
    b"Content-Type: text/html; charset=utf-16\r\n", b"Content-Type: text/plain; format=flowed; delsp=yes\r\n",
    b"Content-Type: message/rfc822\r\n", b"Content-Type: application/ms-tnef; name=winmail.dat\r\n",
    b"Content-Type: multipart/report; report-type=delivery-status; boundary=b\r\n", b"Content-Type: ;;;=\r\n",
    b"Content-Transfer-Encoding: base64\r\n", b"Content-Transfer-Encoding: quoted-printable\r\n",
    b"Content-Transfer-Encoding: x-uuencode\r\n", b"Auto-Submitted: auto-replied\r\n", b"Return-Path: <>\r\n",
    b"Subject: =?utf-8?B?////?=\r\n", b"Subject: =?x?Q?=\r\n", b"From: a@b.example, c@d.example\r\n", b"From: <>\r\n",
    b"Message-ID: <>\r\n", b"In-Reply-To: <msg-\r\n", b"To: checks+@school.example\r\n", b"Date: never\r\n", b" \r\n",
)  # fmt: skip
PIECES = (
    *HEADERS, b"--b\r\n", b"--b--\r\n", b"\r\n\r\n", b"\n", b"\r", b"\0", b"\xff\xfe", b"=\r\n", b"=3D", b"<", b"<!--",
    b"<div class=gmail_quote>", b"<blockquote>", b"> ", b">>> ", b"-- \r\n", b"\xe2\x80", b"&#x110000;",
)  # fmt: skip

Change = Callable[[Random, bytes], bytes]


@dataclass(frozen=True)
class Case:
    """One input: what came, and what its maker did to it."""

    kind: str
    data: bytes


@dataclass(frozen=True)
class Asked:
    """What a mail can answer: who was asked, by which message, whose reply address bears the tag, in which words."""

    sender: str
    message: str
    thread: str
    tag: str
    words: str


def chat(random: Random) -> Case:
    """Words by chat, up to more than we keep."""
    many = random.choice((1, 1, 2, 3, 8, 40, 4000))
    parts = (random.choice(random.choice((BAD, ODD))) for _ in range(many))
    return Case(f"{many} pieces", random.choice((" ", "", ", ", "\n")).join(parts).encode())


def mail(random: Random, asked: Asked) -> Case:
    """A mail, by one in three as somebody's program would send it, else broken."""
    whole = _mail(random, asked, broken := random.random() < 2 / 3)
    if not broken:
        return Case("whole", whole)
    changes = [random.choice(CHANGES) for _ in range(random.choice((1, 1, 2, 5, 20)))]
    for change in changes:
        whole = change(random, whole)
    return Case(" ".join(change.__name__.strip("_") for change in changes), whole)


def _mail(random: Random, asked: Asked, broken: bool) -> bytes:
    # A broken mail may move what it quotes to where somebody would have typed it; so nothing good is in that.
    quoted = "\n".join(BAD) if broken else asked.words
    text = random.choice(POSTINGS)(random.choice(BAD), quoted)
    to = f"checks+{asked.tag}@school.example" if random.random() < 0.8 else "checks@school.example"
    head = [
        f"From: Somebody <{asked.sender}>", f"To: {to}", "Subject: Re: 3 checks by 08:15",
        f"Message-ID: <{random.getrandbits(64):x}@phone.example>", "MIME-Version: 1.0",
        f"In-Reply-To: <{asked.message}@school.example>",
        f"References: <{asked.thread}@school.example> <{asked.message}@school.example>",
    ]  # fmt: skip
    return "\r\n".join(head).encode() + b"\r\n" + random.choice(FORMS)(text)


def _gmail(own: str, quoted: str) -> str:
    return f"{own}\n\nOn Mon, Oct 5, 2026 at 8:05 AM Checks <checks@school.example> wrote:\n\n{_marked(quoted)}\n"


def _outlook(own: str, quoted: str) -> str:
    head = "From: Checks <checks@school.example>\nSent: Monday, October 5, 2026 8:05 AM\nTo: Somebody\nSubject: 3"
    return f"{own}\n\nSomebody Teacher\nRoom 0 | A School\n\n________________________________\n{head}\n\n{quoted}\n"


def _below(own: str, quoted: str) -> str:
    return f"El lun, 5 oct 2026 a las 8:05, Checks (<checks@school.example>) escribió:\n\n{_marked(quoted)}\n\n{own}\n"


def _french(own: str, quoted: str) -> str:
    said = "Le lun. 5 oct. 2026 à 08:05, Checks <checks@school.example> a écrit :"
    return f"{own}\n-- \nUne signature\n\n{said}\n{_marked(quoted)}"


def _ten_times(own: str, quoted: str) -> str:
    for _ in range(10):
        quoted = f"On Mon, Oct 5, 2026 at 8:05 AM Checks wrote:\n{_marked(quoted)}"
    return f"{own}\n\nSent from my phone\n\n{quoted}"


def _marked(quoted: str) -> str:
    return "\n".join(f"> {line}" for line in quoted.splitlines())


POSTINGS = (_gmail, _outlook, _below, _french, _ten_times)


def _plain(text: str) -> bytes:
    return b"Content-Type: text/plain; charset=utf-8\r\n\r\n" + text.encode()


def _printable(text: str) -> bytes:
    head = b"Content-Type: text/plain; charset=utf-8\r\nContent-Transfer-Encoding: quoted-printable\r\n\r\n"
    return head + quopri.encodestring(text.encode())


def _based(text: str) -> bytes:
    head = b"Content-Type: text/plain; charset=utf-8\r\nContent-Transfer-Encoding: base64\r\n\r\n"
    return head + base64.encodebytes(text.encode())


def _html(text: str) -> bytes:
    own, _, quoted = text.partition("\n\n")
    body = f"<div>{own}</div><div class=\"gmail_quote\"><div>Checks wrote:</div><blockquote>{quoted}</blockquote></div>"
    return b"Content-Type: text/html; charset=utf-8\r\n\r\n" + body.encode()


def _both(text: str) -> bytes:
    parts = b"".join(b"--b\r\n" + part + b"\r\n" for part in (_plain(text), _html(text)))
    return b"Content-Type: multipart/alternative; boundary=b\r\n\r\n" + parts + b"--b--\r\n"


FORMS = (_plain, _printable, _based, _html, _both)


def _span(random: Random, data: bytes) -> slice:
    at = random.randrange(len(data) + 1)
    return slice(at, at + random.choice((1, 3, 20, 200)))


def _cut(random: Random, data: bytes) -> bytes:
    span = _span(random, data)
    return data[: span.start] + data[span.stop :]


def _repeat(random: Random, data: bytes) -> bytes:
    span = _span(random, data)
    return data[: span.stop] + data[span] + data[span.stop :]


def _flip(random: Random, data: bytes) -> bytes:
    at = random.randrange(len(data) + 1)
    return data[:at] + random.randbytes(1) + data[at + 1 :]


def _put(random: Random, data: bytes) -> bytes:
    at = random.randrange(len(data) + 1)
    return data[:at] + random.choice(PIECES) + data[at:]


def _head(random: Random, data: bytes) -> bytes:
    return random.choice(HEADERS) + data


def _pile(random: Random, data: bytes) -> bytes:
    at = random.randrange(len(data) + 1)
    return data[:at] + random.choice(PIECES) * random.choice((300, 20_000)) + data[at:]


def _end(random: Random, data: bytes) -> bytes:
    return data[: random.randrange(len(data) + 1)]


def _bare(_random: Random, data: bytes) -> bytes:
    return data.replace(b"\r\n", b"\n")


CHANGES: tuple[Change, ...] = (_cut, _cut, _repeat, _flip, _flip, _put, _put, _put, _head, _pile, _end, _bare)
