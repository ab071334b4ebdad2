"""Parcels to send in tests, about an invented morning."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from service.channels.protocol import Parcel

SECRET = "whsec_" + "QUJD" * 8
NOW = datetime(2026, 10, 5, 13, 5, tzinfo=UTC)

PROMPT = Parcel(
    id="msg-0123456789ab",
    key="prompt of the round",
    to_address="l-teal",
    subject="2 checks by 08:20",
    lock_line="2 checks by 08:20",
    text="1 Fern, 2 Otter: do their devices work?\nhttps://checks.school.example/r/abc",
    html=None,
    link="https://checks.school.example/r/abc",
    purpose="prompt",
    thread=None,
    in_reply_to=None,
    reply_token=None,
    at=NOW,
    give_up_at=NOW + timedelta(minutes=15),
)


def parcel(**changed: object) -> Parcel:
    """The prompt above, some of it changed."""
    return replace(PROMPT, **changed)


def stamp() -> datetime:
    """The real time that tests pretend."""
    return NOW
