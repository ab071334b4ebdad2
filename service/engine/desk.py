"""What every engine step is handed: a `Desk` for the life of the service, a `Moment` for one transaction.

A `Moment` is (transaction, now, ids) with the configuration as it stands in that transaction. Nothing here
decides anything; it answers what is configured, what day it is at a school, and writes the journal.
"""

import gc
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import cached_property
from threading import Lock
from typing import Any, NamedTuple

from sqlmodel import Session

from service.core.chains import Chase, Scene, Turn
from service.core.days import NoSchool, SchoolDay, school_day
from service.core.devices import FaultCode, catalogue
from service.core.district import Chain, District, School, Severity, Student
from service.core.notices import Notice
from service.core.replies import default_words
from service.core.replies.words import Words
from service.core.silence import is_settling_in
from service.core.zones import zone
from service.engine.clock import Clock
from service.engine.codec import decode
from service.engine.scenes import scene_of
from service.languages import dated, phrase, speaking
from service.setup import build
from service.store import configuration, marks, notices
from service.store.ahead import forget_all
from service.store.base import Store
from service.store.journal import Entry, Journal
from service.store.tray import Lying, Thing

NOTICE_REACH = timedelta(days=400)
"""Notices are read this far around a day: cycle days depend on the closures before it."""

LATEST = 1000
"""So many of the latest steps put out are remembered, for how late they were."""

LARGE = ("people", "students")
"""The sections of the configuration that are read entry by entry."""

Ground = tuple[object, ...]
"""What the plan of a school rests upon: the configuration's version, the date, the notices that reach it."""


@dataclass(frozen=True)
class Book:
    """The configuration in force: the district, its fault codes and the words its people use."""

    version: int
    district: District
    codes: Mapping[str, FaultCode]

    @cached_property
    def words(self) -> Words:
        """Gathered when they are first asked for: who only plans or looks up reads no reply."""
        return default_words(extra=self.district.faults)


def bind(district: District, version: int = 0) -> Book:
    """The book of a district."""
    return Book(version, district, catalogue(district.faults))


class NotSetUp(Exception):
    """No configuration has been applied yet: run `bellcheck apply DIR` first."""


class PutOut(NamedTuple):
    """A step whose message lies in the outbox: when it was due, was laid down, might go, and was committed there."""

    due: datetime
    laid: datetime
    not_before: datetime
    committed: datetime


@dataclass
class Desk:
    """The collaborators of the engine. `owner` names this instance in leases; `silence_held_until` is the
    end of the grace after a restart, before which no silence step is taken (C20). `planned` says of each
    school on what ground this desk has planned its days last, `awaited` from when on somebody must be asked there
    (None: nobody need be, or somebody was), and on what ground; `put_out` are the latest steps that this desk has put
    out; `mail_read` says of each channel when its mailbox was last read to its end.
    """

    store: Store
    clock: Clock
    journal: Journal
    key: bytes
    owner: str
    silence_held_until: datetime | None = None
    planned: dict[str, Ground] = field(default_factory=dict, repr=False)
    awaited: dict[str, tuple[Ground, datetime | None]] = field(default_factory=dict, repr=False)
    put_out: deque[PutOut] = field(default_factory=lambda: deque(maxlen=LATEST), repr=False)
    mail_read: dict[str, datetime] = field(default_factory=dict, repr=False)
    _book: Book | None = field(default=None, repr=False)
    _reading: Lock = field(default_factory=Lock, repr=False)

    @contextmanager
    def moment(self, now: datetime | None = None) -> Iterator["Moment"]:
        """A write transaction at one instant: the desk's clock, or the database's own on PostgreSQL."""
        with no_collection(), self.store.transaction() as tx:
            m = Moment(self, tx, now or self.clock.now())
            yield m
            m.write_down()
        m.let_go()
        if m.going:
            committed = self.clock.now()
            self.put_out.extend(PutOut(*step, committed) for step in m.going)

    @contextmanager
    def glance(self) -> Iterator["Moment"]:
        """A read-only transaction at the present instant."""
        with self.store.reading() as tx:
            yield Moment(self, tx, self.clock.now())

    def book(self, tx: Session) -> Book:
        """The configuration in force, rebuilt only when a newer one was applied. Raises `NotSetUp`."""
        version = configuration.version(tx)
        book = self._book
        if book is None or book.version != version:
            with self._reading:
                book = self._book
                if book is None or book.version != version:
                    with no_collection():
                        book = self._book = _read_book(tx, version)
        return book

    def schools(self, tx: Session) -> Mapping[str, School]:
        """The schools alone, in the configuration in force: people and students are not read for them where they
        have not been read yet. Raises `NotSetUp`.
        """
        book = self._book
        if book is not None and book.version == configuration.version(tx):
            return book.district.schools
        documents = configuration.current(tx, without=LARGE)
        if not documents:
            raise NotSetUp
        return build(documents).schools


def _read_book(tx: Session, version: int) -> Book:
    documents = configuration.current(tx, without=LARGE)
    if not documents:
        raise NotSetUp
    return bind(build(documents, {name: configuration.entries(tx, name) for name in LARGE}), version)


@contextmanager
def no_collection() -> Iterator[None]:
    """While a large district is read, or a batch of rounds is worked on, the collector would look through all of it
    again and again, to find nothing. Around a whole batch it finds little afterwards as well: what was worked on is
    gone by then.
    """
    running = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if running:
            gc.enable()


@dataclass
class Moment:
    """One transaction at one instant. `last_sent` and `laid` are what `trays` has looked up in it so far: when
    somebody was last written to, and what was ever laid about a chase. `begun` are the chases that began in it, with
    the body of each as it is written; `fresh` is what was laid in it, by person; `turns` are those of silences; `going`
    are the steps whose messages it has put into the outbox: when each was due, was laid down and might go.
    """

    desk: Desk
    tx: Session
    now: datetime
    last_sent: dict[str, datetime | None] = field(default_factory=dict, repr=False)
    laid: dict[str, set[Thing]] = field(default_factory=dict, repr=False)
    begun: dict[str, tuple[Chase, dict[str, Any]]] = field(default_factory=dict, repr=False)
    fresh: dict[str, list[Lying]] = field(default_factory=dict, repr=False)
    turns: dict[tuple[object, ...], tuple[Turn, ...]] = field(default_factory=dict, repr=False)
    going: list[tuple[datetime, datetime, datetime]] = field(default_factory=list, repr=False)
    _days: dict[tuple[str, date], SchoolDay | NoSchool] = field(default_factory=dict, repr=False)
    _scenes: dict[tuple[str, date], Scene] = field(default_factory=dict, repr=False)
    _today: dict[str, date] = field(default_factory=dict, repr=False)
    _settling: dict[tuple[str, date], bool] = field(default_factory=dict, repr=False)
    _notices: tuple[Notice, ...] | None = field(default=None, repr=False)
    _book: Book | None = field(default=None, repr=False)
    _entries: list[Entry] = field(default_factory=list, repr=False)
    _reader_zone: str | None = field(default=None, repr=False)
    _gone: frozenset[str] | None = field(default=None, repr=False)
    _resting: dict[str, datetime] | None = field(default=None, repr=False)
    _absent: dict[str, datetime] | None = field(default=None, repr=False)

    @property
    def book(self) -> Book:
        """The configuration in force, with its words and fault codes."""
        if self._book is None:
            self._book = self.desk.book(self.tx)
        return self._book

    @property
    def district(self) -> District:
        """The configuration in force."""
        return self.book.district

    @property
    def notices(self) -> tuple[Notice, ...]:
        """All notices around today that were not withdrawn."""
        if self._notices is None:
            today = self.now.date()
            rows = notices.active(self.tx, today - NOTICE_REACH, today + NOTICE_REACH)
            self._notices = tuple(decode(Notice, row.body) for row in rows)
        return self._notices

    def forget(self) -> None:
        """Look again: a notice or the configuration has changed within this transaction."""
        forget_all(self.tx)
        self._notices = None
        self._book = None
        self.turns.clear()
        self._today.clear()
        self._days.clear()
        self._scenes.clear()
        self._settling.clear()
        self._gone = None
        self._resting = None

    def school(self, id: str) -> School:
        """The school with this id."""
        return self.district.schools[id]

    def today(self, school: str) -> date:
        """The date it is at the school."""
        if school not in self._today:
            self._today[school] = self.today_at(school, self.now)
        return self._today[school]

    def today_at(self, school: str, at: datetime) -> date:
        """The date it was at the school at an instant."""
        return at.astimezone(zone(self.school(school).zone)).date()

    def wall(self, school: str, at: datetime, on: date | None = None) -> str:
        """An instant as the school's clock shows it, with the day where it is not `on`, and with the zone where
        the reader lives by another clock.
        """
        zone_name = self.school(school).zone
        local = at.astimezone(zone(zone_name))
        shown = f"{local:%H:%M}"
        if on is not None and local.date() != on:
            shown = phrase("%(day)s %(time)s", day=dated(local.date(), "EEEE"), time=shown)
        return shown if self._reader_zone in (None, zone_name) else f"{shown} {local:%Z}"

    @contextmanager
    def read_by(self, person: str) -> Iterator[None]:
        """While writing to somebody: their language, and times of a school in another zone than their own say so."""
        held = next((s for r in self.district.people[person].roles for s in r.schools), None)
        home = held or next(iter(self.district.schools))
        self._reader_zone = self.district.schools[home].zone
        try:
            with speaking(self.district.people[person].language):
                yield
        finally:
            self._reader_zone = None

    def day(self, school: str, on: date) -> SchoolDay | NoSchool:
        """The school's day with today's notices."""
        key = (school, on)
        if key not in self._days:
            self._days[key] = school_day(self.school(school), on, self.notices)
        return self._days[key]

    def let_go(self) -> None:
        """Forget the scenes, which know their moment: all that was looked up here then goes with the transaction,
        and no collector has to find it.
        """
        self._scenes.clear()

    def scene(self, school: str, on: date) -> Scene:
        """The day around a chase."""
        key = (school, on)
        if key not in self._scenes:
            self._scenes[key] = scene_of(self, school, on, self.gone, self.resting)
        return self._scenes[key]

    @property
    def gone(self) -> frozenset[str]:
        """The addresses that are known not to work any more, as `gone/PERSON/CHANNEL`."""
        if self._gone is None:
            self._gone = frozenset(m.key for m in marks.with_prefix(self.tx, "gone/"))
        return self._gone

    @property
    def resting(self) -> Mapping[str, datetime]:
        """Who is left in peace after an emergency, and until when."""
        if self._resting is None:
            found = marks.with_prefix(self.tx, "rest/")
            self._resting = {m.key.removeprefix("rest/"): m.at for m in found if m.at}
        return self._resting

    @property
    def absent(self) -> Mapping[str, datetime]:
        """For whom a program has answered that they are not there, and when it did."""
        if self._absent is None:
            found = marks.with_prefix(self.tx, "absent/")
            self._absent = {m.key.removeprefix("absent/"): m.at for m in found if m.at}
        return self._absent

    def forget_absent(self) -> None:
        """Look again who is absent."""
        self._absent = None

    def around(self, school: str, on: date) -> Scene:
        """The day around a chase of the date `on`: today's, where it was held over (C12)."""
        return self.scene(school, max(on, self.today(school)))

    def remember(self, key: str, at: datetime, body: Mapping[str, Any]) -> None:
        """Set a mark, and look again at whatever follows from marks."""
        marks.set(self.tx, key, at, body)
        self._gone = None
        self._resting = None
        self._absent = None
        self._scenes.clear()

    def is_settling_in(self, school: str, on: date) -> bool:
        """Whether a date is among the mild first days of its term."""
        key = (school, on)
        if key not in self._settling:
            days = self.district.settings.settle_in_days
            self._settling[key] = is_settling_in(self.school(school), on, days, self.notices)
        return self._settling[key]

    def chain(self, student: Student | None, school: str, cause: Severity | str) -> Chain | None:
        """The chain for a cause: the student's, else the school's, else the district's (None: none chosen)."""
        return self.district.chain_for(student, school, str(cause))

    def note(
        self,
        stream: str,
        kind: str,
        id: str,
        cause: Sequence[str] = (),
        actor: str | None = None,
        words: str = "",
        **body: Any,
    ) -> None:
        """Note for the journal what changed, why, and who or what did it; `write_down` writes it.

        `words` are somebody's own: the entry holds their digest only, so that they can be forgotten.
        """
        personal = {"words": words} if words else {}
        self._entries.append(
            Entry(stream, self.now, kind, list(dict.fromkeys(cause)), actor, {"id": id, **body}, personal)
        )

    def write_down(self) -> None:
        """Write all notes at once. A stream's lock comes after all others, so it is taken at the very end."""
        if self._entries:
            self.desk.journal.append_many(self.tx, self._entries)
            self._entries.clear()


def stream_of(school: str, on: date) -> str:
    """The journal stream of a school's day."""
    return f"{school}/{on.isoformat()}"
