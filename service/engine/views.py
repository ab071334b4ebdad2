"""What the board shows, read in one glance: each school's day, what is open on it, and what comes next.

Instants are given as the school's clock shows them and as fractions of the day from first to last bell, so
that a strip can be drawn by anything. Nothing here decides or writes.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from service.core.chains import Why
from service.core.days import SchoolDay
from service.core.district import Device, Person, Role, Severity, Side
from service.core.reading import Result
from service.engine.chase_views import ChaseView, Mark, Scale, chase_view, scale_of
from service.engine.desk import Moment
from service.engine.held import banner
from service.engine.letters import place_of
from service.store import chases, rounds, tray
from service.store.rounds import Seen
from service.store.tables import ChaseRow, CheckRow, RoundRow
from service.wording.names import device_words, room_words, side_words


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
    """The whole district today, schools with something open first. `held` says why nothing is asked or sent now."""

    district: str
    schools: tuple[SchoolView, ...]
    held: str = ""

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


def board(m: Moment) -> Board:
    """The board as it stands."""
    views = [school_view(m, id) for id in m.district.schools]
    ordered = sorted(views, key=lambda s: (not s.open_rows, _first_gravity(s), s.name))
    return Board(m.district.name, tuple(ordered), banner(m))


def _first_gravity(view: SchoolView) -> tuple[int, datetime | None]:
    return (_gravity(view.open_rows[0])[0], None) if view.open_rows else (9, None)


def school_view(m: Moment, school: str) -> SchoolView:
    """One school's day as it stands."""
    on = m.today(school)
    day = m.day(school, on)
    held = m.school(school)
    scale = scale_of(m, school)
    checks = rounds.seen_of_day(m.tx, school, on)
    asked = [c for c in checks if c.state != "planned"]
    open_now = chases.open_in_school(m.tx, school)
    rows = (*_faults(scale, [c.id for c in open_now if c.why != Why.SILENCE.value]), *_rounds(scale, checks, open_now))
    if not isinstance(day, SchoolDay):
        return SchoolView(
            school, held.name, on, scale.wall(m.now), day.reason, "", "", None, (), rows, 0, len(asked)
        )
    bands = tuple(
        Band(b.name, scale.wall(b.start), scale.where(b.start), scale.where(b.end or b.start))
        for b in day.bells
    )
    inside = day.first <= m.now <= day.last
    counted = [c for c in asked if c.result != Result.NO_CHECK.value]
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
        answered=sum(1 for c in counted if _is_answered(c)),
        total=len(counted),
    )


def _is_answered(check: Seen) -> bool:
    unsaid = (Result.UNANSWERED.value, Result.NOT_ASKED.value)
    return check.state == "closed" and check.result not in unsaid


def _faults(scale: Scale, ids: Sequence[str]) -> Iterable[BoardRow]:
    """The faults and emergencies of a school that are open, of whatever date."""
    m = scale.m
    held = chases.rows_of(m.tx, ids)
    checks = rounds.checks_by_id(m.tx, {row.check_id for row in held.values() if row.check_id})
    for row in (held[id] for id in ids):
        view = chase_view(m, row)
        check = checks.get(row.check_id or "")
        student = m.district.students.get(row.student or "")
        in_hand = view.hand is not None and view.hand.said
        yield BoardRow(
            key=row.id,
            tone="hand" if in_hand and view.severity is not Severity.EMERGENCY else "fault",
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


@dataclass(frozen=True)
class _Silent:
    """The open silences of a round: their ids, the first of them, and when reminders of it were due."""

    ids: tuple[str, ...]
    first: ChaseRow
    reminded: Sequence[datetime]


def _rounds(scale: Scale, checks: Sequence[Seen], open_now: Sequence[chases.Open]) -> Iterable[BoardRow]:
    of_round: defaultdict[str, list[Seen]] = defaultdict(list)
    for check in checks:
        of_round[check.round_id].append(check)
    silent = _silences(scale.m, of_round, open_now)
    for row in rounds.of_day(scale.m.tx, scale.school, scale.date):
        if row.id in of_round and row.state != "dropped":
            yield _round(scale, row, of_round[row.id], silent.get(row.id))


def _silences(
    m: Moment, of_round: Mapping[str, Sequence[Seen]], open_now: Sequence[chases.Open]
) -> dict[str, _Silent]:
    """The silences of each round, in the order of its checks; no key for a round without."""
    about: defaultdict[str, list[str]] = defaultdict(list)
    for chase in open_now:
        if chase.why == Why.SILENCE.value and chase.check:
            about[chase.check].append(chase.id)
    found = {id: tuple(s for c in own if c.state == "asked" for s in about[c.id]) for id, own in of_round.items()}
    firsts = {id: ids[0] for id, ids in found.items() if ids}
    held = chases.rows_of(m.tx, firsts.values())
    reminded = tray.reminders_of(m.tx, firsts.values())
    return {id: _Silent(found[id], held[first], reminded.get(first, ())) for id, first in firsts.items()}


def _round(scale: Scale, row: RoundRow, own: Sequence[Seen], silent: _Silent | None) -> BoardRow:
    m = scale.m
    waiting = [c for c in own if c.state == "asked"]
    planned = [c for c in own if c.state == "planned"]
    view = chase_view(m, silent.first) if silent else None
    tone = "open" if waiting else "planned" if planned else "settled"
    if view is not None and view.hand is not None and view.hand.said:
        tone = "hand"
    begins = row.asked_at or row.due
    last = max((c.result_at for c in own if c.result_at), default=begins)
    place = place_of(m, own, row.school)
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
        marks=tuple(_round_marks(scale, row, own, silent, view)),
        chase=view,
        chases=silent.ids if silent else (),
        minutes=_minutes(m, begins),
        due=begins,
    )


def _round_marks(
    scale: Scale, row: RoundRow, own: Sequence[Seen], silent: _Silent | None, view: ChaseView | None
) -> Iterable[Mark]:
    asked = row.asked_at or row.due
    yield Mark("asked" if row.asked_at else "planned", scale.wall(asked), scale.where(asked))
    for due in silent.reminded if silent else ():
        yield Mark("reminded", scale.wall(due), scale.where(due))
    yield from (view.told[1:] if view else ())
    for check in own:
        if check.result_at and check.state == "closed":
            at = check.result_at
            yield Mark(_kind(check), scale.wall(at), scale.where(at), check.alias)


def _kind(check: Seen) -> str:
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
    return [chase_view(m, c) for c in held if c.why == Why.SILENCE.value and c.ended_at is None]
