"""The independent checker: after every step it reads what is new in journal and outbox and what arrived, and holds
it against what must always be so. It imports nothing of the service's core or engine.

What may only be judged later is owed: a judge says until when, and looks again then.
"""

import heapq
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Protocol

from tests.simulation.record import Entry, Record
from tests.simulation.seen import Copy, Outside
from tests.simulation.town import Town

GRACE = timedelta(seconds=90)
UNNOTICED = timedelta(seconds=60)
"""A service that is gone for no longer than this was not down: senders' retries go on for longer."""

Found = Iterator[str]
Owed = Callable[[datetime], Found]


@dataclass
class Case:
    """What judges share: the record, the outside world, and what is owed until when."""

    town: Town
    outside: Outside
    record: Record
    now: datetime | None = None
    _owed: list[tuple[datetime, int, Owed]] = field(default_factory=list)
    _count: int = 0

    def owe(self, until: datetime, look: Owed) -> None:
        """Look again at an instant."""
        self._count += 1
        heapq.heappush(self._owed, (until, self._count, look))

    def fallen_due(self, now: datetime) -> Found:
        while self._owed and self._owed[0][0] < now:
            until, _, look = heapq.heappop(self._owed)
            later = self.deadline(until)
            if later is not None and later < now:
                yield from look(until)
            else:
                self.owe(later or until + timedelta(hours=1), look)

    def deadline(self, until: datetime) -> datetime | None:
        """An instant, later where the service was down around it; None while it still is."""
        for since, back in self.outside.outages:
            if since <= until and back is None:
                return None
            if back is not None and since <= until and until - timedelta(minutes=6) < back + GRACE:
                until = max(until, back + GRACE + timedelta(minutes=5))
        return until

    def was_down(self, since: datetime, until: datetime) -> bool:
        """Whether the service was down at any time between, or had just come back."""
        return any(a <= until and (b is None or b + GRACE >= since) for a, b in self.outside.outages)


class Judge(Protocol):
    """Holds one or two of the invariants against what is seen; yields what breaks them, in plain words."""

    def entry(self, entry: Entry) -> Found: ...
    def copy(self, at: datetime, copy: Copy) -> Found: ...
    def end(self, now: datetime) -> Found: ...


class Judging:
    """A judge that finds nothing, to be told what to look at."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.record = case.record
        self.outside = case.outside
        self.town = case.town

    def entry(self, entry: Entry) -> Found:
        return iter(())

    def copy(self, at: datetime, copy: Copy) -> Found:
        return iter(())

    def end(self, now: datetime) -> Found:
        return iter(())


class Broken(AssertionError):
    """Something that must always hold does not."""


class Checking:
    """All judges together."""

    def __init__(self, case: Case, judges: Sequence[Judge]) -> None:
        self.case = case
        self.judges = judges
        self._copies = 0

    def look(self, now: datetime) -> None:
        """Read what is new; raises `Broken` with all that is wrong."""
        case = self.case
        entries = case.record.new()
        copies = case.outside.copies[self._copies :]
        self._copies += len(copies)
        case.now = now
        for _, copy in copies:
            case.record.parts(copy.id, copy.person)
        wrong = [w for e in entries for j in self.judges for w in j.entry(e)]
        wrong += [w for at, copy in copies for j in self.judges for w in j.copy(at, copy)]
        wrong += case.fallen_due(now)
        self._say(wrong)

    def end(self, now: datetime) -> None:
        """What can be judged when all is over."""
        self.look(now)
        self._say([w for j in self.judges for w in j.end(now)])

    def _say(self, wrong: Sequence[str]) -> None:
        if wrong:
            raise Broken("\n".join(dict.fromkeys(wrong)))
