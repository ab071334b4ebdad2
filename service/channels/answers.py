"""What an HTTP answer means for a message.

Sources: Standard Webhooks 1.0.0 (only 2xx is success, 3xx is a failure, 410 ends the address), RFC 9110
10.2.3 (`Retry-After`), RFC 6585 section 4 (429). Which refusals are final beyond that is our own decision.
"""

import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime

from service.channels.protocol import Handover, Parcel

_LONGEST_WAIT = timedelta(days=1)
_SECONDS = re.compile(r"[0-9]{1,9}", re.ASCII)
_LATER = {429, 503}
_MAY_CHANGE = {302, 303, 307, 408, 425}


def judge(status: int, headers: Mapping[str, str], parcel: Parcel, now: datetime) -> Handover:
    """What came of an attempt, by the answer's status and headers (names in lower case).

    `now` is real time, for an HTTP-date in `Retry-After`. A wait that ends after the parcel's `give_up_at`
    is a refusal for good: by then the message no longer matters.
    """
    if 200 <= status <= 299:
        return Handover("accepted", _accepted(status, headers))
    if status == 410:
        return Handover("gone", "HTTP 410: the address is no longer in use", for_good=True)
    if status in _LATER:
        return _later(status, wait_of(headers.get("retry-after"), now), parcel)
    final = (300 <= status <= 399 or 400 <= status <= 499) and status not in _MAY_CHANGE
    redirected = " (a redirect, not followed)" if 300 <= status <= 399 else ""
    return Handover("refused", f"HTTP {status}{redirected}", for_good=final)


def _accepted(status: int, headers: Mapping[str, str]) -> str:
    """A page where a short answer is usual may be a sign-in page: taken, but worth a look by a person."""
    page = headers.get("content-type", "").lower().startswith("text/html")
    return f"HTTP {status}, answered with a web page" if page else f"HTTP {status}"


def _later(status: int, wait: timedelta | None, parcel: Parcel) -> Handover:
    left = parcel.give_up_at - parcel.at if parcel.give_up_at is not None else None
    if wait is not None and left is not None and wait > left:
        return Handover("refused", f"HTTP {status}: wait is longer than the message matters", for_good=True)
    return Handover("deferred", f"HTTP {status}", retry_after=wait)


def wait_of(retry_after: str | None, now: datetime) -> timedelta | None:
    """The wait that a `Retry-After` asks for, none to a day; None where there is none to be read."""
    if retry_after is None:
        return None
    value = retry_after.strip()
    if value.isascii() and value.isdigit():
        wait = timedelta(seconds=int(value)) if _SECONDS.fullmatch(value) else _LONGEST_WAIT
        return min(wait, _LONGEST_WAIT)
    try:
        until = parsedate_to_datetime(value)
        until = until.replace(tzinfo=UTC) if until.tzinfo is None else until.astimezone(UTC)
    except (ValueError, TypeError, IndexError, OverflowError):
        return None
    return max(timedelta(), min(until - now.astimezone(UTC), _LONGEST_WAIT))
