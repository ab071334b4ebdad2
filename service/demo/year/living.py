"""The year lived: the real engine on a stepped clock, day after day, with everybody's answers typed to it."""

import heapq
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from functools import partial

from service.core.chains import Why
from service.core.days import instant
from service.core.notices import NoticeError
from service.core.zones import zone
from service.demo.year.nature import Nature
from service.demo.year.people import Asked, People, Saying
from service.demo.year.places import CHAT, COORDINATOR
from service.engine import commands, planner, postman, running
from service.engine.clock import SteppedClock
from service.engine.commands import Received
from service.engine.desk import Desk
from service.engine.postman import Errand, Outcome, Report
from service.setup import Documents
from service.store import chases, history

ZONE = "America/Chicago"
EARLY, MORNING, NIGHT = time(0, 30), time(5, 30), time(23, 0)
AT_MOST = 50
"""Passes at one instant; more would mean that something never comes to rest."""


class Restless(Exception):
    """The engine has something to do at one instant for ever."""


def at(day: date, wall: time) -> datetime:
    """An instant by the clock of the district."""
    return instant(day, wall, zone(ZONE))


@dataclass
class Living:
    """A year under way on a desk whose clock is stepped."""

    desk: Desk
    nature: Nature
    documents: Documents
    _queue: list[tuple[datetime, int, Callable[[], None]]] = field(default_factory=list)
    _count: int = 0
    _said: int = 0

    def __post_init__(self) -> None:
        self.people = People(self.nature)
        assert isinstance(self.desk.clock, SteppedClock)  # noqa: S101 - whoever makes a year makes its clock
        self.clock = self.desk.clock

    def days(self, first: date, last: date) -> Iterator[date]:
        """Live every date from `first` to `last`, and give back each school day as it ends."""
        self.clock.move_to(at(first, EARLY))
        commands.configure(self.desk, self.documents, COORDINATOR)
        day = first
        while day <= last:
            self._live(day)
            if day in self.nature.days:
                yield day
            day += timedelta(days=1)

    def _live(self, day: date) -> None:
        self.people.begin()
        self._run_until(at(day, MORNING))
        self._give_notices(day)
        planner.plan_all(self.desk)
        self._run_until(at(day, NIGHT))

    def _give_notices(self, day: date) -> None:
        year = self.nature.year
        given = []
        if day in year.snow:
            given.append("closed at all")
        if day == year.thaw:
            given.append("delay 2 h at all")
        if day in self.nature.days:
            given += [f"away {absence.person}" for absence in self.nature.absences(day) if absence.announced]
        for text in given:
            taken = commands.give_notice(self.desk, text, COORDINATOR)
            if isinstance(taken, NoticeError):
                raise ValueError(f"{text}: {taken.wrong}")

    def _run_until(self, end: datetime) -> None:
        while (due := self._next()) is not None and due <= end:
            self.clock.move_to(max(due, self.clock.now()))
            while self._queue and self._queue[0][0] <= due:
                heapq.heappop(self._queue)[2]()
            self._settle()
        self.clock.move_to(end)

    def _next(self) -> datetime | None:
        due = running.next_due(self.desk)
        known = [at for at in (due, self._queue[0][0] if self._queue else None) if at is not None]
        return min(known, default=None)

    def _settle(self) -> None:
        """Everything that is due at this instant, sending included, until nothing more is."""
        now = self.clock.now()
        for _ in range(AT_MOST):
            done = running.run_due(self.desk, now)
            errands = postman.claim(self.desk, now)
            if errands:
                postman.record_all(self.desk, [(e, Report(Outcome.ACCEPTED)) for e in errands], now)
                self._arrive(errands)
            if not done and not errands:
                return
        raise Restless(f"the engine does not come to rest at {now:%Y-%m-%d %H:%M}")

    def _arrive(self, errands: list[Errand]) -> None:
        now = self.clock.now()
        day = now.astimezone(zone(ZONE)).date()
        for asked in self._asked(errands):
            said = self.people.hears(asked, day)
            if said is not None:
                self._later(now + timedelta(minutes=said.minutes), partial(self._say, said, day))

    def _asked(self, errands: list[Errand]) -> Iterator[Asked]:
        with self.desk.glance() as m:
            spoken = history.spoken_for(m.tx, [errand.id for errand in errands])
            named = {link.chase_id for links in spoken.values() for link in links}
            rows = chases.rows_of(m.tx, named)
        for errand in errands:
            about = [rows[link.chase_id] for link in spoken[errand.id] if link.chase_id in rows]
            children = tuple(dict.fromkeys(row.student for row in about if row.student))
            if about and children:
                why = Why.FAULT if all(row.why == Why.FAULT for row in about) else Why.SILENCE
                yield Asked(
                    errand.id, errand.person, errand.role, errand.purpose, why.value, about[0].school, children
                )

    def _later(self, at: datetime, do: Callable[[], None]) -> None:
        self._count += 1
        heapq.heappush(self._queue, (at, self._count, do))

    def _say(self, said: Saying, day: date) -> None:
        text, more = self.people.answer(said, day)
        self._said += 1
        self._type(said, text)
        for then in more:
            self._later(self.clock.now() + timedelta(minutes=then.minutes), partial(self._say, then, day))

    def _type(self, said: Saying, text: str) -> None:
        id = f"year-{self.clock.now():%Y%m%d}-{self._said}"
        received = Received(CHAT, id, said.person, text, said.person, in_reply_to=said.re, proven=True)
        commands.receive(self.desk, received)
