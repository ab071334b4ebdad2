"""Runs a script against the real engine: a stepped clock moves from instant to instant until the day is over."""

import hashlib
import heapq
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import partial
from typing import Any

from service.core.days import SchoolDay, instant
from service.core.district import District
from service.core.zones import zone
from service.engine import commands, planner, postman, running
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.engine.postman import Errand, Report
from service.rehearsal.lines import lines_of
from service.rehearsal.people import Channels, People
from service.rehearsal.script import BadScript, Script, Scripted
from service.setup import build
from service.setup.problems import Problem
from service.store.base import Store
from service.store.journal import Journal

Documents = Mapping[str, Mapping[str, Mapping[str, Any]]]

AFTER = timedelta(minutes=2)
"""How long the stage runs on after the last bell, for what still waits to be sent."""

RETRY = timedelta(seconds=60)
"""Chat senders try again this often while the service is down."""


def rehearse(documents: Documents, day: date, script: Script) -> list[dict[str, Any]]:
    """The lines of a rehearsed day, in order. Raises `BadScript` where the script does not fit the district."""
    district = build(documents)
    start = min(instant(day, datetime.min.time(), zone(s.zone)) for s in district.schools.values())
    stage = Stage(documents, district, day, script, start)
    try:
        stage.play()
        return lines_of(stage.desk, district, day, stage.shown)
    finally:
        stage.desk.store.close()


def _desk(start: datetime, seed: int) -> Desk:
    key = hashlib.sha256(f"rehearsal-{seed}".encode()).digest()
    store = Store("sqlite://")
    store.upgrade()
    counter = iter(range(1, 1 << 62))
    journal = Journal(key, lambda n: hashlib.sha256(f"{seed}/{next(counter)}".encode()).digest()[:n])
    return Desk(store, SteppedClock(start), journal, key, "stage")


@dataclass
class Stage:
    """One rehearsal under way."""

    documents: Documents
    district: District
    day: date
    script: Script
    start: datetime
    up: bool = True
    shown: list[tuple[datetime, Scripted]] = field(default_factory=list)
    _queue: list[tuple[datetime, int, Callable[[], None]]] = field(default_factory=list)
    _count: int = 0

    def __post_init__(self) -> None:
        self.desk = _desk(self.start, self.script.seed)
        self.clock = self.desk.clock
        self.channels = Channels()
        self.people = People(self.desk, self.district, self.script)
        self.people.check()

    def play(self) -> None:
        """Play the whole day."""
        self.desk_configured()
        end = self._end()
        for event in self.script.events:
            at = self._instant(event)
            self.later(at, partial(self._happen, event, at))
        self._settle()
        self.run_until(end)

    def run_until(self, end: datetime) -> None:
        """Let everything happen that is due or scripted until `end`, which may be another day."""
        while (due := self._next()) is not None and due <= end:
            self._move(due)
            while self._queue and self._queue[0][0] <= due:
                heapq.heappop(self._queue)[2]()
            self._settle()
        self._move(max(end, self.clock.now()))

    def desk_configured(self) -> None:
        """Put the configuration into force and plan the day."""
        commands.configure(self.desk, self.documents, "rehearsal")
        planner.plan_all(self.desk, self.day)

    def later(self, at: datetime, do: Callable[[], None]) -> None:
        """Have something happen at an instant; what comes first at one instant happens first."""
        self._count += 1
        heapq.heappush(self._queue, (at, self._count, do))

    def _next(self) -> datetime | None:
        due = running.next_due(self.desk) if self.up else None
        known = [at for at in (due, self._queue[0][0] if self._queue else None) if at is not None]
        return max(min(known), self.clock.now()) if known else None

    def _move(self, at: datetime) -> None:
        assert isinstance(self.clock, SteppedClock)  # noqa: S101 - the stage makes its own clock
        self.clock.move_to(at)

    def _settle(self) -> None:
        """Everything due at this instant, sending included, until nothing more is."""
        now = self.clock.now()
        if not self.up:
            return
        running.release_silence(self.desk, now)
        while True:
            done = running.run_due(self.desk, now)
            errands = postman.claim(self.desk, now)
            for errand in errands:
                self._carry(errand, now)
            if not done and not errands:
                return

    def _carry(self, errand: Errand, now: datetime) -> None:
        takes, report, bounce = self.channels.attempt(errand)
        if takes:
            self.later(now + takes, lambda: self._arrive(errand, report, bounce))
        else:
            self._arrive(errand, report, bounce)

    def _arrive(self, errand: Errand, report: Report, bounce: timedelta | None) -> None:
        if not self.up:
            return
        now = self.clock.now()
        postman.record(self.desk, errand, report, now)
        if report.outcome is postman.Outcome.ACCEPTED:
            self.people.delivered.setdefault(errand.person, []).append(errand.id)
        if bounce is not None:
            self.later(now + bounce, lambda: postman.bounced(self.desk, errand.id, self.clock.now()))

    def _happen(self, event: Scripted, shown_at: datetime) -> None:
        match event.kind:
            case "says" if not self.up and not self.people.is_mail(event):
                self.later(self.clock.now() + RETRY, lambda: self._happen(event, shown_at))
                return
            case "says":
                self.people.says(event)
            case "page" if self.up:
                self.people.presses(event)
            case "notice" if self.up:
                self.people.gives(event)
            case "channel":
                what = event.what
                self.channels.change(what.get("name"), what.get("person"), what["does"], what["span"])
            case "service":
                self._service(event.what["service"])
        self.shown.append((shown_at, event))

    def _service(self, state: str) -> None:
        now = self.clock.now()
        if state == "up" and not self.up:
            running.hold_silence(self.desk, now, self.district.settings.restart_grace)
        self.up = state == "up"

    def _instant(self, event: Scripted) -> datetime:
        return instant(self.day, event.at, zone(self.district.schools[self._school(event)].zone))

    def _school(self, event: Scripted) -> str:
        named = event.school or event.what.get("school")
        if named and named != "all":
            return named
        zones = {s.zone for s in self.district.schools.values()}
        student = self.district.students.get(event.what.get("student", ""))
        if student is not None:
            return student.school
        if len(zones) > 1 and (home := self._home(event.what.get("person") or event.what.get("by"))):
            return home
        if len(zones) > 1:
            wrong = "the schools of the district are in different zones"
            raise BadScript([Problem(self.script.file, event.line, "error", wrong, "add `school: ID`")])
        return next(iter(self.district.schools))

    def _home(self, person: str | None) -> str | None:
        held = self.district.people.get(person or "")
        return next((s for r in held.roles for s in r.schools), None) if held else None

    def _end(self) -> datetime:
        """The script's end, or a little after the last of the schools' last bells."""
        schools = list(self.district.schools.values())
        if self.script.until is not None:
            return max(instant(self.day, self.script.until, zone(s.zone)) for s in schools)
        with self.desk.moment() as m:
            days = [m.day(s.id, self.day) for s in schools]
        return max((d.last for d in days if isinstance(d, SchoolDay)), default=self.start) + AFTER
