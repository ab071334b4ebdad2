"""Standard Webhooks 1.0.0 signatures: who really wrote this body, and when.

Source: the Standard Webhooks specification, version 1.0.0 ("Verifying signatures"); HMAC-SHA-256 as in RFC
2104, checked against RFC 4231. A secret reads `whsec_` and the base64 of 24 to 64 random bytes.
"""

import base64
import binascii
import hmac
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

ID_HEADER = "webhook-id"
TIMESTAMP_HEADER = "webhook-timestamp"
SIGNATURE_HEADER = "webhook-signature"
TOLERANCE = timedelta(minutes=5)
"""How far a timestamp may lie from now, in either direction: the reference libraries' figure."""

_PREFIX = "whsec_"
_SIGNATURES_READ = 16
_TIMESTAMP = re.compile(r"[0-9]{1,11}", re.ASCII)
_ID = re.compile(r"[!-~]{1,256}", re.ASCII)


@dataclass(frozen=True)
class Verified:
    """The body was signed with one of the secrets, at `timestamp` (UTC), under `id`."""

    id: str
    timestamp: datetime


@dataclass(frozen=True)
class Rejected:
    """The body is not to be believed; `reason` says why in plain words."""

    reason: str


def read_secret(secret: str) -> bytes:
    """The key bytes of a `whsec_` secret. ValueError when it is not one; the message never holds it."""
    if not secret.startswith(_PREFIX):
        raise ValueError(f"a signing secret begins with {_PREFIX}")
    try:
        key = base64.b64decode(secret.removeprefix(_PREFIX), validate=True)
    except (binascii.Error, ValueError):
        raise ValueError(f"a signing secret is {_PREFIX} followed by base64") from None
    if not 24 <= len(key) <= 64:
        raise ValueError("a signing secret holds 24 to 64 bytes")
    return key


def _digest(key: bytes, id: str, timestamp: int, body: bytes) -> bytes:
    signed = b"%s.%d.%s" % (id.encode("ascii"), timestamp, body)
    return base64.b64encode(hmac.digest(key, signed, "sha256"))


def sign(secret: str, id: str, timestamp: int, body: bytes) -> str:
    """The signature `v1,…` of `body` sent under `id` at `timestamp` (whole Unix seconds).

    ValueError when the secret is malformed or `id` is not printable ASCII without a full stop.
    """
    if not _ID.fullmatch(id) or "." in id:
        raise ValueError("a webhook id is printable ASCII without a full stop")
    return "v1," + _digest(read_secret(secret), id, timestamp, body).decode("ascii")


def headers_for(secrets: Sequence[str], id: str, at: datetime, body: bytes) -> dict[str, str]:
    """The three headers; several secrets (a rotation) give several signatures, none gives no signature."""
    seconds = int(at.astimezone(UTC).timestamp())
    headers = {ID_HEADER: id, TIMESTAMP_HEADER: str(seconds)}
    if secrets:
        headers[SIGNATURE_HEADER] = " ".join(sign(secret, id, seconds, body) for secret in secrets)
    return headers


def verify(
    secrets: Sequence[str],
    headers: Mapping[str, str],
    body: bytes,
    now: datetime,
    tolerance: timedelta = TOLERANCE,
) -> Verified | Rejected:
    """Whether `body` came from a holder of one of `secrets`, and not longer ago than `tolerance`.

    Any `v1` signature that matches any secret is enough. ValueError when a secret is malformed.
    """
    keys = [read_secret(secret) for secret in secrets]
    lower = {name.lower(): value for name, value in headers.items()}
    id, seconds, given = (lower.get(name, "") for name in (ID_HEADER, TIMESTAMP_HEADER, SIGNATURE_HEADER))
    if not (id and seconds and given):
        return Rejected(f"the headers {ID_HEADER}, {TIMESTAMP_HEADER} and {SIGNATURE_HEADER} are all needed")
    if not _ID.fullmatch(id) or "." in id:
        return Rejected(f"{ID_HEADER} must be printable ASCII without a full stop")
    if not _TIMESTAMP.fullmatch(seconds):
        return Rejected(f"{TIMESTAMP_HEADER} must be whole Unix seconds")
    if not _matches(keys, given, id, int(seconds), body):
        return Rejected("no signature matches this body")
    return _in_time(id, int(seconds), now, tolerance)


def _matches(keys: Sequence[bytes], given: str, id: str, seconds: int, body: bytes) -> bool:
    parts = given.split()[:_SIGNATURES_READ]
    offered = [part.removeprefix("v1,") for part in parts if part.startswith("v1,")]
    expected = [_digest(key, id, seconds, body) for key in keys]
    found = False
    for signature in offered:
        for digest in expected:
            found |= hmac.compare_digest(signature.encode("utf-8", "replace"), digest)
    return found


def _in_time(id: str, seconds: int, now: datetime, tolerance: timedelta) -> Verified | Rejected:
    away = now.astimezone(UTC).timestamp() - seconds
    if away > tolerance.total_seconds():
        return Rejected("the message is too old")
    if -away > tolerance.total_seconds():
        return Rejected("the message is dated in the future")
    return Verified(id, datetime.fromtimestamp(seconds, UTC))
