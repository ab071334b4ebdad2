"""Counts of results, for a child, a school, a term or a district, from a plain sequence of checks."""

from collections import Counter, defaultdict
from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import TypeVar

from service.core.measures.survival import Spell
from service.core.reading import Result

Key = TypeVar("Key", bound=Hashable)

DONE = (Result.WORKING, Result.FIXED, Result.FAULT)
"""Somebody looked, and said what they found."""

NOT_EXPECTED = (Result.AWAY, Result.NO_CHECK)
"""There was no child to check, or no check to do."""


@dataclass(frozen=True)
class Checked:
    """How one planned check ended. `devices` are those the child wears; instants are aware, in UTC.

    `answered_at` is the first answer of any kind; `until` when waiting for one ended: the day's last bell, or now.
    `result` None: the day is not over.
    """

    student: str
    school: str
    date: date
    result: Result | None
    devices: int
    asked_at: datetime | None = None
    answered_at: datetime | None = None
    until: datetime | None = None


@dataclass(frozen=True)
class Tally:
    """How many checks ended in which way; those whose day is not over are `open` and nowhere else."""

    results: Mapping[Result, int]
    open: int

    @property
    def planned(self) -> int:
        """All whose day is over."""
        return sum(self.results.values())

    @property
    def expected(self) -> int:
        """Planned, less those for whom there was nothing to check: child away, or no check by a notice."""
        return self.planned - sum(self.results.get(r, 0) for r in NOT_EXPECTED)

    @property
    def done(self) -> int:
        """Those at which somebody looked."""
        return sum(self.results.get(r, 0) for r in DONE)


def tally(checks: Iterable[Checked]) -> Tally:
    """The counts of these checks."""
    counted = Counter(c.result for c in checks)
    still_open = counted.pop(None, 0)
    return Tally({r: counted[r] for r in Result if counted[r]}, still_open)


def grouped(checks: Iterable[Checked], key: Callable[[Checked], Key]) -> Mapping[Key, tuple[Checked, ...]]:
    """The checks by child, school, term or whatever `key` takes from them, in the order they come."""
    found: defaultdict[Key, list[Checked]] = defaultdict(list)
    for check in checks:
        found[key(check)].append(check)
    return {k: tuple(held) for k, held in found.items()}


def device_days(checks: Iterable[Checked]) -> int:
    """Devices looked at, a device once a day however often it was looked at."""
    worn: dict[tuple[str, date], int] = {}
    for check in checks:
        if check.result in DONE:
            worn[check.student, check.date] = max(check.devices, worn.get((check.student, check.date), 0))
    return sum(worn.values())


def days_with_a_fault(checks: Iterable[Checked]) -> int:
    """Days on which something was found wrong with a child's devices, put right on the spot or not."""
    return len({(c.student, c.date) for c in checks if c.result in (Result.FIXED, Result.FAULT)})


def times_to_answer(checks: Iterable[Checked]) -> list[Spell]:
    """Minutes from asking to the first answer; where none came, at least until the waiting ended."""
    found = []
    for check in checks:
        end = check.answered_at or check.until
        if check.asked_at is not None and end is not None:
            minutes = max(0.0, (end - check.asked_at).total_seconds() / 60)
            found.append(Spell(minutes, check.answered_at is not None))
    return found
