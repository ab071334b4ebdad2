"""When is looked, what is found, and how often that may be wrong."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from service.core.measures.proportions import Share

BUDGET = 0.1
"""False findings of one kind that are accepted in a whole district in a year: one in ten years. Local choice.

It holds where what is counted comes independently; what comes in days running speaks somewhat oftener.
"""

LOOKS = 40
"""Weeks of a school year, rounded up; usual in many districts, no source."""


class Kind(StrEnum):
    """What stands out."""

    SOUND = "a child slips"
    PASSED_ON = "who is asked does not answer"
    CELLS = "cells run down faster"
    TYPE = "a type of cable fails more often"
    CONTACT = "a contact never answers"
    OTHERWISE = "found otherwise by somebody else"


@dataclass(frozen=True)
class Finding:
    """Something worth looking at: of what kind, about whom or what, `at` which school ("": the district), seen first
    on the look of a date; `here` of what stands out, `there` of what it is held against (None: of nothing).
    """

    kind: Kind
    about: str
    at: str
    on: date
    here: Share
    there: Share | None = None


def level(units: int) -> float:
    """The chance below which a difference counts, when so many units are looked at once a week.

    The budget divided by all looks at all units (Bonferroni's inequality): however they hang together, the expected
    number of false findings of a kind in a year stays within it.
    """
    return BUDGET / (LOOKS * max(1, units))


def weekly(days: Iterable[date]) -> tuple[date, ...]:
    """The looks: the last school day of each week."""
    last: dict[tuple[int, int], date] = {}
    for day in sorted(days):
        last[day.isocalendar()[:2]] = day
    return tuple(last.values())


def first_seen(looks: Sequence[date], at: Callable[[date], Iterable[Finding]]) -> tuple[Finding, ...]:
    """What is found at these looks, each thing at the first that finds it."""
    found: dict[tuple[Kind, str, str], Finding] = {}
    for look in looks:
        for one in at(look):
            found.setdefault((one.kind, one.about, one.at), one)
    return tuple(found.values())
