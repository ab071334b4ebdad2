"""Faults as people want to see them: what, since when, where it is, who holds it, what it cost; one in all its
steps.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial

from service.core.days import NoSchool, SchoolDay
from service.core.district import SEVERITIES, Device, Severity
from service.core.measures.lost import Lost, lost
from service.core.road import Fault, Stage, Stand, Step, What, may, stand
from service.core.road.access import broken
from service.core.road.dates import has_passed
from service.core.road.loaners import Refusal
from service.engine import mornings, road, stepping
from service.engine.desk import Moment
from service.engine.letters import room_words
from service.engine.roles import main_role_at
from service.languages import gettext
from service.store import faults
from service.store.tables import FaultRow
from service.wording.names import device_words, role_words, side_words

LONG_AGO = timedelta(days=400)
"""Minutes are counted over so many days back at most."""


@dataclass(frozen=True)
class Passed:
    """A step in words: when, what, by whom, with the date that was given and what was lent or had; `undone`: it was
    taken back.
    """

    at: str
    what: What
    by: str
    until: date | None
    detail: str
    undone: bool


@dataclass(frozen=True)
class LoanerView:
    """A device of the pool: what, where, for whom (an alias, empty for anybody), and who has it; `refused` says why
    it may not go to the student at hand.
    """

    id: str
    what: str
    kind: str
    school: str
    set_for: str
    out_with: str
    refused: Refusal | None = None


@dataclass(frozen=True)
class FaultView:
    """One fault. `since` is when it was reported, `lost` its school minutes so far; `lent` what is worn meanwhile
    (None: nothing), `again`: the same one worked less than twenty school days before; `seen` counts its steps.
    """

    id: str
    student: str
    school: str
    place: str
    alias: str
    device: str
    code: str
    label: str
    side: str
    severity: Severity
    stage: Stage
    reached: frozenset[Stage]
    since: str
    reported: datetime
    holder: str
    promised: date | None
    is_late: bool
    lost: Lost
    lent: str | None
    again: bool
    incident: bool
    is_open: bool
    seen: int

    @property
    def gravity(self) -> tuple[bool, bool, int, datetime, str]:
        """In which order faults are shown: open ones, late ones, grave ones, old ones first."""
        return not self.is_open, not self.is_late, -SEVERITIES.index(self.severity), self.reported, self.id


@dataclass(frozen=True)
class FaultPage:
    """One fault with all its steps and what may be done next; `undo`: the last press can be taken back."""

    fault: FaultView
    steps: tuple[Passed, ...]
    may: frozenset[What]
    loaners: tuple[LoanerView, ...]
    note: str
    undo: bool
    today: date


def faults_of(
    m: Moment, *, school: str | None = None, student: str | None = None, only_open: bool = True
) -> tuple[FaultView, ...]:
    """Faults of the district, a school or a student, those that need somebody first."""
    rows = faults.all_of(m.tx, school=school, student=student, only_open=only_open)
    return tuple(sorted(views_of(m, rows), key=lambda view: view.gravity))


def views_of(m: Moment, rows: Sequence[FaultRow]) -> list[FaultView]:
    """Faults as they stand, what was taken back left out; the days on which their students were away are read at
    once.
    """
    held = [(row, road.load(row)) for row in rows if row.stage != Stage.NO_FAULT.value]
    first = min((fault.opened for _, fault in held), default=m.now.date())
    away = faults.away(m.tx, {row.student for row, _ in held}, first) if held else {}
    return [_view(m, row, fault, away.get(row.student, ())) for row, fault in held]


def page_of(m: Moment, id: str) -> FaultPage | None:
    """The page of one fault; None where there is none of that id, or it was none."""
    row = faults.get(m.tx, id)
    views = views_of(m, [row]) if row is not None else []
    if row is None or not views:
        return None
    fault = road.load(row)
    now = stand(fault)
    return FaultPage(
        views[0],
        tuple(_passed(m, row, step) for step in fault.steps),
        frozenset(what for what in What if may(now, what)),
        pool(m, for_fault=row),
        row.note,
        stepping.last_press(m, row) is not None,
        m.today(row.school) if row.school in m.district.schools else m.now.date(),
    )


def pool(m: Moment, *, for_fault: FaultRow | None = None) -> tuple[LoanerView, ...]:
    """The loaners of the district; with a fault those first that may go to its student, and why the others may not."""
    out = faults.out(m.tx)
    found = [_loaner(m, id, out, for_fault) for id in m.district.loaners]
    return tuple(sorted(found, key=lambda view: (view.refused is not None, view.school, view.what)))


def _loaner(m: Moment, id: str, out: Mapping[str, str], row: FaultRow | None) -> LoanerView:
    held = m.district.loaners[id]
    wrong = stepping.lending(m, row, id) if row is not None else None
    return LoanerView(
        id,
        held.what,
        device_words([Device(held.kind, held.side)]),
        m.school(held.school).name,
        _alias(m, held.set_for),
        _alias(m, out.get(id)),
        wrong if isinstance(wrong, Refusal) else None,
    )


def _alias(m: Moment, student: str | None) -> str:
    held = m.district.students.get(student or "")
    return held.alias if held else student or ""


def _view(m: Moment, row: FaultRow, fault: Fault, away: Collection[date]) -> FaultView:
    now = stand(fault)
    student = m.district.students.get(row.student)
    known = m.book.codes.get(row.code)
    school = m.district.schools.get(row.school)
    today = m.today(row.school) if school else m.now.date()
    return FaultView(
        id=row.id,
        student=row.student,
        school=school.name if school else row.school,
        place=room_words(student.room) if student else "",
        alias=student.alias if student else "",
        device=_device(m, row, now),
        code=row.code,
        label=gettext(known.label) if known else row.code,
        side=side_words([now.side] if now.side else []),
        severity=now.severity,
        stage=now.stage,
        reached=frozenset(_reached(fault)),
        since=mornings.since(m, row.school, now.reported) if school else "",
        reported=now.reported,
        holder=who(m, row.school, now.holder),
        promised=now.promised,
        is_late=has_passed(now, today),
        lost=minutes(m, fault, away),
        lent=None if now.lent is None else _lent(m, now.lent),
        again=row.body.get("after") is not None,
        incident=road.incident_of(m, row.code),
        is_open=now.is_open,
        seen=len(fault.steps),
    )


def _device(m: Moment, row: FaultRow, now: Stand) -> str:
    student = m.district.students.get(row.student)
    code = m.book.codes.get(row.code)
    held = student.devices if student else ()
    suited = [d for d in held if code is None or d.kind in code.devices]
    return device_words([d for d in suited if now.side is None or d.side is now.side])


def _reached(fault: Fault) -> Sequence[Stage]:
    """The stages that a fault has come through."""
    held = [step for step in fault.steps if step.taken_back is None]
    return [stand(Fault(fault.id, fault.student, fault.school, fault.code, fault.opened, tuple(held[:n]))).stage
            for n in range(1, len(held) + 1)]  # fmt: skip


def _lent(m: Moment, id: str) -> str:
    held = m.district.loaners.get(id)
    return held.what if held else id


def who(m: Moment, school: str, person: str | None) -> str:
    """Somebody in words: those of the district by name, others by their role."""
    held = m.district.people.get(person or "")
    if held is None:
        return ""
    return role_words(main_role_at(m, held.id, school)) if held.outside else held.name


def _passed(m: Moment, row: FaultRow, step: Step) -> Passed:
    at = mornings.since(m, row.school, step.at) if row.school in m.district.schools else ""
    detail = _lent(m, step.detail) if step.what is What.LENT else step.detail
    return Passed(at, step.what, who(m, row.school, step.by), step.until, detail, step.taken_back is not None)


def minutes(m: Moment, fault: Fault, away: Collection[date]) -> Lost:
    """The school minutes of a fault by the bells of its school; none where the school is known no more."""
    end = stand(fault).over or m.now
    found = broken(fault, away, m.now, partial(_last_bell, m, fault.school))
    return lost(found, _days(m, fault, max(end - LONG_AGO, found.reported), end), m.now)


def _last_bell(m: Moment, school: str, at: datetime) -> datetime:
    day = m.day(school, m.today_at(school, at)) if school in m.district.schools else None
    return day.last if isinstance(day, SchoolDay) else at


def _days(m: Moment, fault: Fault, start: datetime, end: datetime) -> list[SchoolDay | NoSchool]:
    if fault.school not in m.district.schools:
        return []
    first, last = m.today_at(fault.school, start), m.today_at(fault.school, end)
    return [m.day(fault.school, first + timedelta(days=n)) for n in range((last - first).days + 1)]
