"""Raw mail to plain values: whatever the bytes, a `Mail` comes of them, within bounds of size and time.

Sources: RFC 5322 (headers), RFC 2045-2049 (MIME), RFC 3676 (format=flowed), RFC 3464 and 8098 (reports). What is
beyond them is common practice of mail programs: text sent as an attachment by text-message gateways, an empty
text part beside an HTML one, a charset that is none.
"""

import re
from collections.abc import Iterator, Mapping
from contextlib import suppress
from email import message_from_bytes, message_from_string
from email.errors import MessageError
from email.header import decode_header, make_header
from email.message import Message

from service.channels.html_text import text_of
from service.core.mail import Delivery, Mail

MOST_BYTES = 1024 * 1024
"""Bytes of a mail that are looked at; what follows is attachments."""

MOST_TEXT = 64 * 1024
"""Characters of text that are kept."""

_PARTS = 100
_DEEPEST = 20
_HEADERS = 300
_HEADER_CHARACTERS = 4000
_IDS = 30
_BROKEN = (MessageError, LookupError, ValueError, TypeError, AttributeError, AssertionError, RecursionError)
"""What the standard library's parser and decoders raise at mails that are none."""

_ID = re.compile(r"<([^<>\s]{1,250})>")
_SPEC = re.compile(r"[^\s<>()\[\],;:\\\"@]{1,64}@[A-Za-z0-9._-]{1,253}")
_SENDER = re.compile(r"(?:\"(?:[^\"\\]|\\.)*\"|[^<>@,;\"]*)\s*<\s*(?P<spec>[^<>\s]+)\s*>")
_COMMENT = re.compile(r"\([^()]*\)")
_CHARSET = re.compile(
    r"(?:utf|iso|windows|cp|koi8|big5|gb|euc|shift|sjis|mac|us-ascii|ascii|latin|tis|hz|johab|ks_c|x-mac)[\w.-]*", re.I
)
_RECIPIENTS = ("to", "cc", "delivered-to", "x-original-to", "envelope-to", "x-envelope-to", "x-forwarded-to")

Headers = Mapping[str, tuple[str, ...]]


def open_mail(raw: bytes) -> Mail:
    """The mail that `raw` is. Never raises: of what is no mail the beginning is kept as its text."""
    try:
        return _open(message_from_bytes(raw[:MOST_BYTES]), cut=len(raw) > MOST_BYTES)
    except _BROKEN:
        return Mail(None, "", (), "", (), _decoded(raw[:MOST_TEXT], None), truncated=len(raw) > MOST_TEXT)


def _open(message: Message, *, cut: bool) -> Mail:
    headers = _headers(message)
    written = _text(message)
    report = _report_type(message)
    deliveries, returned = _report(message) if report else ((), {})
    whole = not cut or message.is_multipart()
    return Mail(
        id=next(iter(_ids(headers, "message-id")), None),
        sender=_sender(headers.get("from", ())),
        recipients=tuple(dict.fromkeys(_specs(headers, _RECIPIENTS))),
        subject=next(iter(headers.get("subject", ())), ""),
        answers=tuple(
            dict.fromkeys([*_ids(headers, "in-reply-to"), *reversed(_ids(headers, "references"))])
        )[:_IDS],
        text=written[:MOST_TEXT],
        headers=headers,
        report=report,
        deliveries=deliveries,
        returned=returned,
        truncated=len(written) > MOST_TEXT or not whole,
    )


def _headers(message: Message) -> Headers:
    found: dict[str, list[str]] = {}
    for name, value in list(message.items())[:_HEADERS]:
        plain = " ".join(str(value)[:_HEADER_CHARACTERS].split())
        found.setdefault(name.lower(), []).append(_words(plain) if name.lower() == "subject" else plain)
    return {name: tuple(values) for name, values in found.items()}


def _words(value: str) -> str:
    """A header's encoded words as they were written (RFC 2047); as they stand where they cannot be read."""
    try:
        return " ".join(str(make_header(decode_header(value))).split())
    except _BROKEN:
        return value


def _ids(headers: Headers, name: str) -> list[str]:
    return [id for value in headers.get(name, ()) for id in _ID.findall(value)]


def _specs(headers: Headers, names: tuple[str, ...]) -> Iterator[str]:
    for name in names:
        for value in headers.get(name, ()):
            yield from (spec.lower() for spec in _SPEC.findall(value)[:_PARTS])


def _sender(values: tuple[str, ...]) -> str:
    """The one address of one `From`; empty where it could be read in two ways."""
    if len(values) != 1:
        return ""
    value = _COMMENT.sub(" ", values[0]).strip()
    found = _SENDER.fullmatch(value)
    spec = found["spec"] if found else value
    return spec.lower() if _SPEC.fullmatch(spec) else ""


def _text(message: Message) -> str:
    shown: list[Message] = []
    attached: list[Message] = []
    for part, alone in _leaves(message, 0):
        if part.get_content_maintype() != "text" or part.get_content_subtype() not in ("plain", "html"):
            continue
        is_attached = part.get_content_disposition() == "attachment" and not alone
        (attached if is_attached else shown).append(part)
    written = [_part_text(part) for part in shown]
    if not any(text.strip() for text in written):
        written = [_part_text(part) for part in attached if part.get_content_subtype() == "plain"][:1]
    return "\n".join(text for text in written if text.strip())


def _leaves(message: Message, depth: int) -> Iterator[tuple[Message, bool]]:
    """The parts that hold something, of alternatives the one to be read; whether each is the whole mail. Mails
    attached to this one are somebody else's words.
    """
    if not message.is_multipart():
        yield message, depth == 0
        return
    if depth >= _DEEPEST or message.get_content_maintype() != "multipart":
        return
    parts = _children(message)
    if message.get_content_subtype() == "alternative":
        chosen = _chosen(parts)
        parts = [chosen] if chosen is not None else []
    elif message.get_content_subtype() == "report":
        parts = parts[:1]
    for part in parts:
        yield from _leaves(part, depth + 1)


def _children(message: Message) -> list[Message]:
    payload = message.get_payload()
    return [part for part in payload[:_PARTS] if isinstance(part, Message)] if isinstance(payload, list) else []


def _chosen(parts: list[Message]) -> Message | None:
    """Plain text where it says something, else what comes last."""
    plain = [p for p in parts if p.get_content_type() == "text/plain" and _part_text(p).strip()]
    return plain[0] if plain else (parts[-1] if parts else None)


def _part_text(part: Message) -> str:
    with suppress(*_BROKEN):
        payload = part.get_payload(decode=True)
        text = _decoded(payload if isinstance(payload, bytes) else b"", part.get_content_charset())
        if part.get_content_subtype() == "html":
            return text_of(text)
        if str(part.get_param("format", "")).lower() == "flowed":
            return _unflowed(text, str(part.get_param("delsp", "no")).lower() == "yes")
        return text
    return ""


def _decoded(data: bytes, charset: str | None) -> str:
    """The text in its charset; else as UTF-8, else as what western programs send."""
    known = charset is not None and charset.lower() not in ("us-ascii", "ascii") and _CHARSET.fullmatch(charset)
    for name in (charset, "utf-8-sig") if charset and known else ("utf-8-sig",):
        with suppress(LookupError, ValueError):
            return data.decode(name)
    return data.decode("cp1252", "replace")


def _unflowed(text: str, without_space: bool) -> str:
    """Lines that were broken for their length alone are one again, at the same depth of quotation (RFC 3676 4)."""
    found: list[str] = []
    open_depth: int | None = None
    for line in text.replace("\r\n", "\n").split("\n"):
        depth = len(line) - len(line.lstrip(">"))
        rest = line[depth:].removeprefix(" ")
        flows = rest.endswith(" ") and rest != "-- "
        kept = rest[:-1] if flows and without_space else rest
        if open_depth == depth:
            found[-1] += kept
        else:
            found.append((">" * depth + " " if depth else "") + kept)
        open_depth = depth if flows else None
    return "\n".join(found)


def _report_type(message: Message) -> str | None:
    if message.get_content_type() != "multipart/report":
        return None
    return str(message.get_param("report-type", "")).lower() or "unknown"


def _report(message: Message) -> tuple[tuple[Delivery, ...], Headers]:
    deliveries: list[Delivery] = []
    returned: Headers = {}
    for part in _children(message):
        kind = part.get_content_type()
        if kind in ("message/delivery-status", "message/global-delivery-status"):
            deliveries += [d for block in _children(part) if (d := _delivery(block)) is not None]
        elif kind in ("message/rfc822", "message/global"):
            returned = next((_headers(inner) for inner in _children(part)), {})
        elif kind in ("text/rfc822-headers", "message/rfc822-headers", "message/global-headers"):
            payload = part.get_payload(decode=True)
            plain = _decoded(payload if isinstance(payload, bytes) else b"", None)
            returned = _headers(message_from_string(plain))
    return tuple(deliveries[:_PARTS]), returned


def _delivery(block: Message) -> Delivery | None:
    headers = _headers(block)
    action = next(iter(headers.get("action", ())), "").lower().split(" ")[0]
    named = next(_specs(headers, ("original-recipient", "final-recipient")), "")
    status = next(iter(headers.get("status", ())), "").split(" ")[0]
    return Delivery(named, action, status) if action else None
