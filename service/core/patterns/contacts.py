"""A contact who never answers: so many turns running that nobody took on, more than comes by chance."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from service.core.listening.design import run_of
from service.core.measures.proportions import Share
from service.core.patterns.looks import BUDGET, Finding, Kind

ANSWERS = 0.5
"""Who takes on at least this share of their turns is not called silent (local choice)."""

TURNS = 30
"""Turns that come to a contact in a year, as the rule reckons (local choice)."""


@dataclass(frozen=True)
class Turn:
    """One turn that came to a contact, and whether they answered in it."""

    day: date
    answered: bool


def running(contacts: int) -> int:
    """How many turns running without an answer speak, where so many contacts are watched.

    The least for which a contact who answers half of their turns is spoken of so seldom that all of them together
    stay within the budget of a year (runs of failures: Feller 1968, XIII.7).
    """
    wished = max(1, contacts) * TURNS / BUDGET
    least = 1
    while run_of(1 - ANSWERS, least) < wished:
        least += 1
    return least


def silent(held: Mapping[tuple[str, str], Sequence[Turn]], look: date) -> Iterator[Finding]:
    """The contacts, each named by (what, school), who have answered none of their last turns."""
    enough = running(len(held))
    for (about, school), turns in held.items():
        last = [turn for turn in turns if turn.day <= look][-enough:]
        if len(last) == enough and not any(turn.answered for turn in last):
            yield Finding(Kind.CONTACT, about, school, look, Share(0, enough))
