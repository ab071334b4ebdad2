"""What the board shows, read in one glance: each school's day, what is open on it, and what comes next.

Instants are given as the school's clock shows them and as fractions of the day from first to last bell, so
that a strip can be drawn by anything. Nothing here decides or writes.
"""

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from service.core.chains import Chase, OutOfPlace, Phase, Purpose, Time, Why, step
from service.core.chains.climb import next_contact
from service.core.days import SchoolDay
from service.core.district import Device, Person, Role, Severity, Side
from service.core.notices import Notice, NoticeError
from service.core.reading import Result
from service.engine.commands import preview_notice
from service.engine.desk import Moment
from service.engine.letters import place_of
from service.engine.loading import load
from service.engine.notices import reach
from service.engine.roles import role_of
from service.store import chases, rounds, tray
from service.store.tables import ChaseRow, CheckRow, RoundRow
from service.wording.names import device_words, names, side_words

STEPS_AHEAD = 5
"""How many of the chain's next steps are worked out for the strip."""

SETTLED = frozenset(r.value for r in (Result.WORKING, Result.FIXED, Result.AWAY, Result.NO_CHECK))


@dataclass(frozen=True)
class Ahead:
    """A step the chain will take if nothing changes: whom it tells, at what time, where on the day."""

    role: str
    at: str
    where: float
    instant: datetime


@dataclass(frozen=True)
class Mark:
    """Something that happened on the strip; `kind`: asked, reminded, told, working, fixed, fault, away, late."""

    kind: str
    at: str
    where: float
    words: str = ""


@dataclass(frozen=True)
class Hand:
    """Somebody said "mine": their role, until when, and the bracket's place."""

    role: str
    until: str
    begins: float
    ends: float
    said: bool = True


@dataclass(frozen=True)
class ChaseView:
    """One chase as a reader wants it. `state` changes with everything that happens to it; `pending` is how an
    emergency is said to have ended, until that is confirmed.
    """

    id: str
    why: Why
    phase: Phase
    severity: Severity | None
    label: str
    codes: tuple[str, ...]
    since: str
    began: datetime
    told: tuple[Mark, ...]
    hand: Hand | None
    ahead: tuple[Ahead, ...]
    reporter: str
    try_until: str
    pending: str
    state: str

    @property
    def next(self) -> Ahead | None:
        """The next step, if one is known."""
        return self.ahead[0] if self.ahead else None


@dataclass(frozen=True)
class Band:
    """A period of the day."""

    name: str
    start: str
    left: float
    right: float


@dataclass(frozen=True)
class BoardRow:
    """A round or a fault on the strip. `tone`: open, fault, hand, settled, planned. `who` are the aliases."""

    key: str
    tone: str
    place: str
    who: tuple[str, ...]
    devices: str
    asked_of: str
    asked_at: str
    open: int
    total: int
    begins: float
    ends: float | None
    now: float
    marks: tuple[Mark, ...]
    chase: ChaseView | None
    chases: tuple[str, ...]
    minutes: int
    due: datetime

    @property
    def is_open(self) -> bool:
        """Whether somebody may still have to get up for it."""
        return self.tone in ("open", "fault", "hand")


@dataclass(frozen=True)
class SchoolView:
    """A school's day. `reason` says why there is no school; then there are no bells."""

    id: str
    name: str
    date: date
    clock: str
    reason: str
    first: str
    last: str
    now: float | None
    bands: tuple[Band, ...]
    rows: tuple[BoardRow, ...]
    answered: int
    total: int

    @property
    def open_rows(self) -> tuple[BoardRow, ...]:
        """What is open, gravest and oldest first."""
        return tuple(sorted((r for r in self.rows if r.is_open), key=_gravity))

    @property
    def next_due(self) -> BoardRow | None:
        """The next round that will be asked."""
        planned = [r for r in self.rows if r.tone == "planned"]
        return min(planned, key=lambda r: (r.due, r.key), default=None)


def _gravity(row: BoardRow) -> tuple[int, datetime, str]:
    grave = row.chase.severity if row.chase else None
    order = {Severity.EMERGENCY: 0, Severity.URGENT: 1, Severity.SAME_DAY: 2, Severity.WATCH: 4}
    rank = order[grave] if grave else 3
    return rank, row.due, row.key


@dataclass(frozen=True)
class Board:
    """The whole district today, schools with something open first."""

    district: str
    schools: tuple[SchoolView, ...]

    @property
    def answered(self) -> int:
        """Checks answered so far."""
        return sum(s.answered for s in self.schools)

    @property
    def total(self) -> int:
        """Checks asked so far."""
        return sum(s.total for s in self.schools)

    @property
    def open_rows(self) -> tuple[tuple[SchoolView, BoardRow], ...]:
        """Everything open, with its school."""
        return tuple((s, r) for s in self.schools for r in s.open_rows)


@dataclass(frozen=True)
class _Day:
    """A school's day while its view is made: turns instants into clock times and places."""

    m: Moment
    school: str
    date: date
    first: datetime
    last: datetime

    def wall(self, at: datetime) -> str:
        return self.m.wall(self.school, at, self.date)

    def where(self, at: datetime) -> float:
        span = (self.last - self.first).total_seconds()
        if span <= 0:
            return 0.0
        return round(min(1.0, max(0.0, (at - self.first).total_seconds() / span)), 4)


def board(m: Moment) -> Board:
    """The board as it stands."""
    views = [school_view(m, id) for id in m.district.schools]
    ordered = sorted(views, key=lambda s: (not s.open_rows, _first_gravity(s), s.name))
    return Board(m.district.name, tuple(ordered))


def _first_gravity(view: SchoolView) -> tuple[int, datetime | None]:
    return (_gravity(view.open_rows[0])[0], None) if view.open_rows else (9, None)


def school_view(m: Moment, school: str) -> SchoolView:
    """One school's day as it stands."""
    on = m.today(school)
    day = m.day(school, on)
    held = m.school(school)
    scale = _day(m, school)
    checks = rounds.checks_of_day(m.tx, school, on)
    asked = [c for c in checks if c.state != "planned"]
    rows = (*_faults(scale), *_rounds(scale, checks))
    if not isinstance(day, SchoolDay):
        return SchoolView(
            school, held.name, on, scale.wall(m.now), day.reason, "", "", None, (), rows, 0, len(asked)
        )
    bands = tuple(
        Band(b.name, scale.wall(b.start), scale.where(b.start), scale.where(b.end or b.start))
        for b in day.bells
    )
    inside = day.first <= m.now <= day.last
    return SchoolView(
        id=school,
        name=held.name,
        date=on,
        clock=scale.wall(m.now),
        reason="",
        first=scale.wall(day.first),
        last=scale.wall(day.last),
        now=scale.where(m.now) if inside else None,
        bands=bands,
        rows=rows,
        answered=sum(1 for c in asked if _is_answered(c)),
        total=len(asked),
    )


def _is_answered(check: CheckRow) -> bool:
    unsaid = (Result.UNANSWERED.value, Result.NOT_ASKED.value)
    return check.state == "closed" and check.result not in unsaid


def _day(m: Moment, school: str) -> _Day:
    on = m.today(school)
    scene = m.scene(school, on)
    return _Day(m, school, on, scene.first, scene.last)


def chase_view(m: Moment, row: ChaseRow) -> ChaseView:
    """One chase in words, with the steps that come."""
    scale = _day(m, row.school)
    chase = load(row)
    upcoming = tuple(_ahead(scale, chase)) if chase.is_open else ()
    sent = [t for t in chase.told if t.posted is not None]
    codes = chase.faults or (("SWALLOWED",) if chase.severity is Severity.EMERGENCY else ())
    told = [Mark("told", scale.wall(t.posted), scale.where(t.posted), _role(m, chase, t.person))
            for t in sent if t.posted is not None]  # fmt: skip
    return ChaseView(
        id=row.id,
        why=chase.why,
        phase=chase.phase,
        severity=chase.severity,
        label=labels(m, codes),
        codes=codes,
        since=scale.wall(chase.reported_at or chase.began),
        began=chase.reported_at or chase.began,
        told=tuple(told),
        hand=_hand(scale, chase),
        ahead=upcoming,
        reporter=_role(m, chase, chase.reporter) if chase.reporter else "",
        try_until=scale.wall(chase.try_until) if chase.try_until and chase.phase is Phase.TRYING else "",
        pending=chase.pending.how.value if chase.pending and chase.is_open else "",
        state=_state(chase),
    )


def _state(chase: Chase) -> str:
    """A short mark that changes with everything that happens to a chase."""
    told = (
        chase.phase.value,
        chase.step,
        sorted(chase.promises.items()),
        chase.in_hand,
        chase.generation,
        chase.pending,
    )
    return hashlib.sha256(repr(told).encode()).hexdigest()[:12]


def labels(m: Moment, codes: Iterable[str]) -> str:
    """Fault codes in words."""
    known = m.book.codes
    return ", ".join(known[c].label if c in known else c for c in dict.fromkeys(codes))


def _role(m: Moment, chase: Chase, person: str) -> str:
    return role_words(role_of(m, chase, person)) if person in m.district.people else ""


def role_words(role: Role) -> str:
    """A role in a sentence: "the coordinator"."""
    return names("en")["role"][role.value]


def _hand(scale: _Day, chase: Chase) -> Hand | None:
    held = chase.in_hand
    if held is None or not chase.is_open:
        return None
    role = _role(scale.m, chase, held.person)
    said = chase.phase is Phase.IN_HAND
    return Hand(role, scale.wall(held.until), scale.where(scale.m.now), scale.where(held.until), said)


def _ahead(scale: _Day, chase: Chase) -> Iterable[Ahead]:
    """Walks the chase on, pretending that nobody says anything, on a copy."""
    m = scale.m
    scene, now = m.scene(chase.school, chase.date), m.now
    for _ in range(STEPS_AHEAD):
        upcoming = next_contact(chase, now, scene)
        if upcoming is None:
            return
        at, person = upcoming
        yield Ahead(_role(m, chase, person), scale.wall(at), scale.where(at), at)
        now, before = max(at, now), chase.step
        try:
            chase, _ = step(chase, Time(), now, scene)
        except OutOfPlace:
            return
        if chase.step <= before:
            return


def _faults(scale: _Day) -> Iterable[BoardRow]:
    """The faults and emergencies of a school that are open, of whatever date."""
    m = scale.m
    for row in chases.open_of_school(m.tx, scale.school):
        if row.why == Why.SILENCE.value:
            continue
        view = chase_view(m, row)
        check = rounds.check(m.tx, row.check_id) if row.check_id else None
        student = m.district.students.get(row.student or "")
        held = view.hand is not None and view.hand.said
        yield BoardRow(
            key=row.id,
            tone="hand" if held and view.severity is not Severity.EMERGENCY else "fault",
            place=room_words(student.room) if student else "",
            who=(student.alias,) if student else (),
            devices=_device_of(check, student.devices if student else ()),
            asked_of=view.reporter,
            asked_at=view.since,
            open=1,
            total=1,
            begins=scale.where(view.began),
            ends=None,
            now=scale.where(m.now),
            marks=(Mark("fault", view.since, scale.where(view.began), view.label), *view.told),
            chase=view,
            chases=(row.id,),
            minutes=_minutes(m, view.began),
            due=view.began,
        )


def _device_of(check: CheckRow | None, devices: Sequence[Device]) -> str:
    """The device a fault is about: its side where one was said, else what the student has."""
    sides = [Side(f["side"]) for f in check.faults if f.get("side")] if check else []
    said = side_words(sides)
    held = [d for d in devices if not said or d.side in sides]
    return device_words(held) if held else said


def _minutes(m: Moment, since: datetime) -> int:
    return max(0, int((m.now - since).total_seconds() // 60))


def room_words(room: str) -> str:
    """A room in a sentence: "Room 12", or its name where it has one."""
    return f"Room {room}" if len(room) <= 4 and any(c.isdigit() for c in room) else room


def _rounds(scale: _Day, checks: Sequence[CheckRow]) -> Iterable[BoardRow]:
    m = scale.m
    for row in rounds.of_day(m.tx, scale.school, scale.date):
        own = [c for c in checks if c.round_id == row.id]
        if own and row.state != "dropped":
            yield _round(scale, row, own)


def _round(scale: _Day, row: RoundRow, own: Sequence[CheckRow]) -> BoardRow:
    m = scale.m
    waiting = [c for c in own if c.state == "asked"]
    planned = [c for c in own if c.state == "planned"]
    silences = [s for c in waiting for s in chases.of_check(m.tx, c.id) if _is_open_silence(s)]
    view = chase_view(m, silences[0]) if silences else None
    tone = "open" if waiting else "planned" if planned else "settled"
    if view is not None and view.hand is not None and view.hand.said:
        tone = "hand"
    begins = row.asked_at or row.due
    last = max((c.result_at for c in own if c.result_at), default=begins)
    place = room_words(p) if (p := place_of(m, own, row.school)) else ""
    shown = waiting or own
    return BoardRow(
        key=row.id,
        tone=tone,
        place=place,
        who=tuple(c.alias for c in shown),
        devices="",
        asked_of="",
        asked_at=scale.wall(begins),
        open=len(waiting),
        total=len(own),
        begins=scale.where(begins),
        ends=None if waiting else scale.where(last),
        now=scale.where(m.now),
        marks=tuple(_round_marks(scale, row, own, silences, view)),
        chase=view,
        chases=tuple(s.id for s in silences),
        minutes=_minutes(m, begins),
        due=begins,
    )


def _is_open_silence(row: ChaseRow) -> bool:
    return row.why == Why.SILENCE.value and row.ended_at is None


def _round_marks(
    scale: _Day, row: RoundRow, own: Sequence[CheckRow], silences: Sequence[ChaseRow], view: ChaseView | None
) -> Iterable[Mark]:
    asked = row.asked_at or row.due
    yield Mark("asked" if row.asked_at else "planned", scale.wall(asked), scale.where(asked))
    for laid in tray.of_chase(scale.m.tx, silences[0].id) if silences else ():
        if laid.purpose == Purpose.REMINDER.value and laid.outbox_id:
            yield Mark("reminded", scale.wall(laid.due_at), scale.where(laid.due_at))
    yield from (view.told[1:] if view else ())
    for check in own:
        if check.result_at and check.state == "closed":
            at = check.result_at
            yield Mark(_kind(check), scale.wall(at), scale.where(at), check.alias)


def _kind(check: CheckRow) -> str:
    known = {
        Result.WORKING.value: "working",
        Result.FIXED.value: "fixed",
        Result.FAULT.value: "fault",
        Result.AWAY.value: "away",
        Result.NO_CHECK.value: "away",
    }
    return known.get(check.result or "", "unsaid")


ACTORS = (Role.COORDINATOR, Role.AUDIOLOGIST, Role.NURSE, Role.OFFICE)
"""Whose names stand in the board's "I am" list."""


def actors(m: Moment) -> tuple[Person, ...]:
    """Those who act on the board, in the order of the configuration."""
    here = [p for p in m.district.people.values() if p.left_on is None or p.left_on > m.now.date()]
    return tuple(p for p in here if any(r.role in ACTORS for r in p.roles))


def running(m: Moment, row: str) -> list[ChaseView]:
    """The running chases behind a row of the board: a fault's own, or the silences of a round."""
    fault = chases.get(m.tx, row)
    if fault is not None:
        return [chase_view(m, fault)] if fault.ended_at is None else []
    held = [c for check in rounds.checks_of(m.tx, row) for c in chases.of_check(m.tx, check.id)]
    return [chase_view(m, c) for c in held if _is_open_silence(c)]


@dataclass(frozen=True)
class NoticeView:
    """A notice in words, with what it reaches. `id` is empty before it is given."""

    id: str
    text: str
    by: str
    days: str
    schools: tuple[str, ...]
    planned: int
    asked: int


def preview(m: Moment, line: str, by: str) -> NoticeView | NoticeError:
    """What a line would be read as and whom it would reach, without giving it."""
    read = preview_notice(m, line, by)
    return read if isinstance(read, NoticeError) else _notice(m, read, "")


def standing_notices(m: Moment) -> tuple[NoticeView, ...]:
    """The notices that hold today or later, latest first."""
    today = min((m.today(s) for s in m.district.schools), default=m.now.date())
    held = [n for n in m.notices if n.last >= today]
    return tuple(_notice(m, n, n.id) for n in sorted(held, key=lambda n: (n.at, n.id), reverse=True))


def _notice(m: Moment, notice: Notice, id: str) -> NoticeView:
    touched = reach(m, notice)
    author = m.district.people.get(notice.by)
    first, last = notice.first, notice.last
    days = f"{first:%a} {first.day} {first:%b}"
    if last > first:
        days += f" to {last:%a} {last.day} {last:%b}"
    schools = tuple(m.school(s).name for s in touched.schools)
    return NoticeView(
        id, notice.text, author.name if author else notice.by, days, schools, touched.planned, touched.asked
    )
