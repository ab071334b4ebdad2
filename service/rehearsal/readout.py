"""The lines of a day as a reader sees them: by kind, chase and check, with instants instead of texts.

It knows the lines only, nothing of the engine that made them.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import Any

Line = Mapping[str, Any]

NEVER = datetime.max.replace(tzinfo=UTC)

TOLD_WITHIN = timedelta(minutes=4)
"""Two minutes of gathering and two for delivery (invariant 2)."""

GRACE = timedelta(seconds=90)
"""After a restart senders try again for this long before silence counts (C20)."""


class Readout:
    """The lines by kind and id, with instants instead of texts."""

    def __init__(self, lines: Sequence[Line], over: Mapping[str, datetime] | None) -> None:
        self.lines = lines
        self.last = max((instant(line) for line in lines), default=NEVER)
        self._over = over

    def over(self, school: str) -> datetime | None:
        """When the day of a school was over, and known to be: a notice may end a day in hindsight. None where
        the lines end before.
        """
        ended = self.last if self._over is None else self._over.get(school)
        notices = [instant(line) for line in self.of("event") if "notice" in line]
        return max([ended, *notices]) if ended is not None else None

    def of(self, kind: str) -> list[Line]:
        """The lines of one kind."""
        return self._kinds[kind]

    @cached_property
    def _kinds(self) -> Mapping[str, list[Line]]:
        kinds: defaultdict[str, list[Line]] = defaultdict(list)
        for line in self.lines:
            kinds[line["kind"]].append(line)
        return kinds

    @cached_property
    def chases(self) -> Mapping[str, list[Line]]:
        """The lines of each chase."""
        return by_key(self.of("chase"), lambda line: [line["id"]])

    @cached_property
    def checks(self) -> Mapping[str, list[Line]]:
        """The lines of each check."""
        return by_key(self.of("check"), lambda line: [line["id"]])

    @cached_property
    def told(self) -> Mapping[str, list[Line]]:
        """The messages about each chase."""
        return by_key(self.of("message"), lambda line: line["chases"])

    @cached_property
    def withheld(self) -> Mapping[str, list[Line]]:
        """What was not sent about each chase, waiting apart."""
        kept = [line for line in self.of("withheld") if line["reason"] != "gathering"]
        return by_key(kept, lambda line: line["chases"])

    @cached_property
    def outages(self) -> list[tuple[datetime, datetime]]:
        """From when to when the service was down."""
        found: list[tuple[datetime, datetime]] = []
        since: datetime | None = None
        for line in self.of("event"):
            if line.get("service") == "down" and since is None:
                since = instant(line)
            elif line.get("service") == "up" and since is not None:
                found.append((since, instant(line)))
                since = None
        return [*found, (since, NEVER)] if since else found

    @cached_property
    def readings(self) -> Mapping[str, Line]:
        """The readings by their id."""
        return {line["id"]: line for line in self.of("reading")}

    @cached_property
    def students(self) -> Mapping[str, Line]:
        """The planned student of each check, with the number last given."""
        return {s["check"]: s for line in self.of("round") for s in line["students"]}

    def state(self, chase: str, before: datetime) -> Line | None:
        """The last line of a chase that is earlier than an instant."""
        return next((c for c in reversed(self.chases.get(chase, [])) if instant(c) < before), None)

    def back(self, at: datetime) -> datetime:
        """An instant, or when the service was back if it was down then."""
        return next((until for since, until in self.outages if since <= at < until), at)

    def deadline(self, due: datetime) -> datetime:
        """Until when who is due at an instant must be told; later where the service was down then."""
        for since, until in self.outages:
            if since <= due + TOLD_WITHIN and until == NEVER:
                return until
            if since <= due + TOLD_WITHIN and due < until + GRACE:
                return max(due, until + GRACE) + TOLD_WITHIN
        return due + TOLD_WITHIN


def instant(line: Line) -> datetime:
    """When a line happened."""
    return datetime.fromisoformat(line["at"])


def by_key(lines: Iterable[Line], keys: Callable[[Line], Iterable[str]]) -> Mapping[str, list[Line]]:
    """The lines under each of their keys, in order."""
    found: defaultdict[str, list[Line]] = defaultdict(list)
    for line in lines:
        for key in keys(line):
            found[key].append(line)
    return found


def check_of(chase: str) -> str:
    """The check a chase is about, by the form of its id: ch-WHY-…-k."""
    return "ck-" + chase.split("-", 2)[2].rpartition("-")[0]
