"""What arrives by webhook: is it to be believed, and who says what in answer to what.

Pure: the door hands over headers and body as received, and gets an `Envelope` to store or a `Refused` to
answer with (RFC 9457). The text is kept as it came; only what no database can hold is replaced.
"""

import hashlib
import hmac
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Never

from service.channels.options import reveal_all, secret_name
from service.channels.pointer import follow
from service.channels.protocol import Secrets
from service.channels.signature import ID_HEADER, SIGNATURE_HEADER, TOLERANCE, Rejected, verify
from service.core.district import ChannelSetup

BODY_AT_MOST = 4 * 1024 * 1024
"""Bytes the door reads before it refuses: a signature covers the whole body, so all of it is needed. A reply
of a megabyte is three in JSON where every letter is escaped."""

TEXT_AT_MOST = 64 * 1024
"""Bytes of a reply's text that are kept; the beginning of a longer one is kept and flagged."""

_ADDRESS_AT_MOST = 512
_DEFAULT = {"from": "/from", "text": "/text", "in reply to": "/in_reply_to", "at": "/at"}


@dataclass(frozen=True)
class Envelope:
    """One message as received. `id` is its own for this channel: the same message again bears the same.

    `from_address` is what the sender says; `proven` whether a signature stands behind it. `at` is the
    sender's own time where it gave a readable one that is not ahead of ours.
    """

    id: str
    from_address: str
    text: str
    in_reply_to: str | None
    at: datetime | None
    proven: bool
    truncated: bool = False


@dataclass(frozen=True)
class Refused:
    """A message that is not taken: HTTP status, and the title and detail of the problem to answer with."""

    status: int
    title: str
    detail: str


class _RefusalError(Exception):
    """Carries a refusal out of the steps below."""

    def __init__(self, status: int, title: str, detail: str) -> None:
        super().__init__(title)
        self.answer = Refused(status, title, detail)


def open_envelope(
    setup: ChannelSetup,
    headers: Mapping[str, str],
    body: bytes,
    now: datetime,
    secrets: Secrets,
    *,
    token: str | None = None,
) -> Envelope | Refused:
    """Judge one message to the channel `setup`; `token` is the plain token of the address it came to.

    A signature proves a message; a plain token lets one in unproven, and only where the channel has one.
    """
    lower = {name.lower(): value for name, value in headers.items()}
    try:
        id, proven = _admit(setup, _Arrival(lower, body, now, token), secrets)
        return _read(setup, _parse(body), id, proven, now)
    except _RefusalError as refusal:
        return refusal.answer


def _inward(setup: ChannelSetup) -> Mapping[str, object]:
    inward = setup.options.get("in")
    return inward if isinstance(inward, Mapping) else {}


@dataclass(frozen=True)
class _Arrival:
    headers: Mapping[str, str]
    body: bytes
    now: datetime
    token: str | None


def _admit(setup: ChannelSetup, arrival: _Arrival, secrets: Secrets) -> tuple[str, bool]:
    """The id of an arrival that is let in, and whether it is proven."""
    if len(arrival.body) > BODY_AT_MOST:
        raise _RefusalError(413, "Too large", f"A message may hold at most {BODY_AT_MOST} bytes.")
    inward = _inward(setup)
    signing = inward.get("signing secret") or setup.options.get("signing secret")
    plain = inward.get("token")
    if signing is None and plain is None:
        raise _RefusalError(404, "Not found", "This channel takes no messages.")
    if arrival.token is not None and plain is not None and SIGNATURE_HEADER not in arrival.headers:
        return _by_token(_held(plain, secrets), arrival.token, arrival), False
    if signing is None:
        raise _RefusalError(401, "Not allowed", "The address lacks its token.")
    return _by_signature(_held(signing, secrets), arrival), True


def _held(value: object, secrets: Secrets) -> tuple[str, ...]:
    try:
        return reveal_all(value, secrets)
    except ValueError:
        raise _RefusalError(503, "Not ready", "This channel is not fully set up; try again later.") from None


def _by_signature(keys: tuple[str, ...], arrival: _Arrival) -> str:
    try:
        verdict = verify(keys, arrival.headers, arrival.body, arrival.now)
    except ValueError:
        raise _RefusalError(503, "Not ready", "This channel is not fully set up; try again later.") from None
    if isinstance(verdict, Rejected):
        raise _RefusalError(401, "Not proven", f"{verdict.reason[0].upper()}{verdict.reason[1:]}.")
    return verdict.id


def _by_token(held: tuple[str, ...], token: str, arrival: _Arrival) -> str:
    """An id of its own for an unproven message, in a space apart from that of proven ones.

    Without the sender's id, two equal bodies may be two answers ("ok" on two mornings), so the instant of
    arrival is part of it: a repeat is then read twice, which is better than an answer lost.
    """
    offered = token.encode("utf-8", "replace")
    if not any(hmac.compare_digest(offered, each.encode()) for each in held):
        raise _RefusalError(401, "Not allowed", "The token of the address is not valid.")
    theirs = arrival.headers.get(ID_HEADER)
    came = arrival.now.astimezone(UTC).isoformat().encode()
    own = theirs.encode("utf-8", "replace") if theirs else came + arrival.body
    return "t-" + hashlib.sha256(own).hexdigest()[:40]


def _parse(body: bytes) -> object:
    try:
        return json.loads(
            body.decode("utf-8-sig"), object_pairs_hook=_without_doubles, parse_constant=_no_number
        )
    except UnicodeDecodeError as wrong:
        raise _RefusalError(400, "Not UTF-8", f"Byte {wrong.start} of the body is not UTF-8.") from None
    except RecursionError:
        raise _RefusalError(400, "Too deep", "The JSON of the body is nested too deeply.") from None
    except json.JSONDecodeError as wrong:
        where = f"line {wrong.lineno}, column {wrong.colno}"
        raise _RefusalError(400, "Not JSON", f"The body is not JSON: {where}.") from None
    except ValueError as wrong:
        raise _RefusalError(400, "Not JSON", f"The body is not JSON: {wrong}.") from None


def _without_doubles(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a name stands twice in one object")
    return found


def _no_number(name: str) -> Never:
    raise ValueError(f"{name} is no JSON number")


def _read(setup: ChannelSetup, document: object, id: str, proven: bool, now: datetime) -> Envelope:
    if not isinstance(document, dict | list):
        raise _RefusalError(422, "Wrong shape", "The body must be a JSON object with from and text.")
    inward = _inward(setup)
    where = {name: str(inward.get(name) or pointer) for name, pointer in _DEFAULT.items()}
    sender = _as_word(follow(document, where["from"]))
    if sender is None:
        raise _RefusalError(422, "No sender", f"At {where['from']} there must be the sender's address.")
    text = follow(document, where["text"])
    if not isinstance(text, str):
        raise _RefusalError(
            422, "No text", f"At {where['text']} there must be a string, the text of the message."
        )
    kept, truncated = _beginning(text)
    answered = _as_word(follow(document, where["in reply to"]))
    at = _instant(follow(document, where["at"]), now)
    return Envelope(id, sender, kept, answered, at, proven, truncated)


def _as_word(value: object) -> str | None:
    """An address or id, trimmed; tools that number their users send a whole number."""
    if isinstance(value, int) and not isinstance(value, bool):
        value = str(value) if value.bit_length() <= 64 else None
    if not isinstance(value, str):
        return None
    word = _storable(value).strip()
    return word if word and len(word) <= _ADDRESS_AT_MOST else None


def _storable(text: str) -> str:
    """The text without what no database takes: a NUL or half a surrogate pair becomes U+FFFD."""
    whole = text.encode("utf-16-le", "surrogatepass").decode("utf-16-le", "replace")
    return whole.replace("\0", "\N{REPLACEMENT CHARACTER}")


def _beginning(text: str) -> tuple[str, bool]:
    encoded = _storable(text).encode()
    return encoded[:TEXT_AT_MOST].decode("utf-8", "ignore"), len(encoded) > TEXT_AT_MOST


def _instant(value: object, now: datetime) -> datetime | None:
    """RFC 3339 with an offset, or Unix seconds. An unreadable time must not cost the reply, so it is None."""
    try:
        if isinstance(value, str) and not value.replace(".", "", 1).isdecimal():
            found = datetime.fromisoformat(value)
        elif isinstance(value, str | int | float) and not isinstance(value, bool):
            found = datetime.fromtimestamp(float(value), UTC)
        else:
            return None
        at = found.astimezone(UTC) if found.tzinfo is not None else None
    except (ValueError, OverflowError, OSError):
        return None
    return at if at is not None and at <= now.astimezone(UTC) + TOLERANCE else None


def problems_of(setup: ChannelSetup) -> tuple[str, ...]:
    """What is wrong with the channel's settings for messages coming in, each in plain words."""
    inward = _inward(setup)
    found = [
        f"in: {name} must be a JSON pointer such as {pointer}"
        for name, pointer in _DEFAULT.items()
        if (given := inward.get(name)) is not None and not str(given).startswith("/")
    ]
    token = inward.get("token")
    if token is not None and secret_name(token) is None:
        found.append("in: token is given by name, as {env: NAME}, never written out")
    return tuple(found)
