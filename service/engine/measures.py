"""What the measures count, taken from the record: how checks ended, faults and their times, turns of silence."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from service.core.chains import Chase, Ended, Told, Why
from service.core.checks import Statement
from service.core.days import NoSchool, SchoolDay
from service.core.district import DeviceKind, Severity
from service.core.measures.figures import Fault
from service.core.measures.lost import Broken, Lost, lost
from service.core.measures.steps import Turn
from service.core.measures.survival import Spell
from service.core.measures.tally import Checked
from service.core.reading import Result
from service.engine.codec import decode
from service.engine.desk import Moment
from service.store import history
from service.store.tables import CheckRow, RoundRow

NO_FAULT = (Ended.TAKEN_BACK, Ended.NO_CHECK)
"""So ends a chase for a fault that was none."""


GOOD = (Result.WORKING, Result.FIXED)
BROKEN_OR_GOOD = (*GOOD, Result.FAULT)


@dataclass(frozen=True)
class FaultTimes:
    """One fault that set off a chain: reported when and told when, working again when (None: not yet)."""

    student: str
    school: str
    codes: tuple[str, ...]
    reported: datetime
    told: datetime | None
    working: datetime | None
    lost: Lost


@dataclass(frozen=True)
class Counted:
    """All that the figures of a span of dates are made from."""

    checks: tuple[Checked, ...]
    faults: tuple[FaultTimes, ...]
    turns: tuple[Turn, ...]


def counted(
    m: Moment, first: date, last: date, school: str | None = None, student: str | None = None
) -> Counted:
    """What was recorded from `first` to `last`, both included; of days to come nothing. A fault of that time may have
    been mended after it.
    """
    until = max([last, *(m.today(s) for s in m.district.schools)])
    known = [c for c in history.checks(m.tx, first, until, school, student) if not _is_to_come(m, c)]
    rows = [c for c in known if c.date <= last]
    said = _said(m, rows)
    rounds = history.rounds_named(m.tx, {c.round_id for c in rows})
    found = [decode(Chase, row.body["chase"]) for row in history.chases_about(m.tx, [c.id for c in rows])]
    return Counted(
        tuple(_checked(m, row, rounds.get(row.round_id), said.get(row.id, ())) for row in rows),
        _faults(m, known, [c for c in found if c.why is Why.FAULT]),
        tuple(turn for c in found if c.why is Why.SILENCE for turn in turns_of(m, c)),
    )


def as_fault(found: FaultTimes, now: datetime) -> Fault:
    """A fault as the measures take it: minutes until somebody was told, school minutes until it worked."""
    told = found.told or found.working or now
    minutes = max(0.0, (told - found.reported).total_seconds() / 60)
    school = float(found.lost.without + found.lost.bridged)
    return Fault(
        found.student, found.school, Spell(minutes, found.told is not None), Spell(school, not found.lost.open)
    )


def _is_to_come(m: Moment, row: CheckRow) -> bool:
    return row.school in m.district.schools and row.date > m.today(row.school)


def _said(m: Moment, rows: Sequence[CheckRow]) -> Mapping[str, Sequence[Statement]]:
    found: defaultdict[str, list[Statement]] = defaultdict(list)
    for row in history.statements(m.tx, [c.id for c in rows]):
        if row.retracted_at is None:
            found[row.check_id].append(replace(decode(Statement, row.body), at=row.at))
    return found


def _checked(m: Moment, row: CheckRow, asked_in: RoundRow | None, said: Sequence[Statement]) -> Checked:
    day = m.day(row.school, row.date) if row.school in m.district.schools else None
    end = day.last if isinstance(day, SchoolDay) else row.result_at
    return Checked(
        student=row.student,
        school=row.school,
        date=row.date,
        result=_found(m, row, said),
        devices=_devices(m, row.student),
        asked_at=asked_in.asked_at if asked_in else None,
        answered_at=said[0].at if said else None,
        until=min(end or m.now, m.now),
    )


def _found(m: Moment, row: CheckRow, said: Sequence[Statement]) -> Result | None:
    """What was found at the check itself. A fault that is mended on another day, or by somebody else, closes the check
    as working in the record; it was a fault all the same, and not one fixed in class.
    """
    result = Result(row.result) if row.result else None
    fault = next((s for s in said if s.result is Result.FAULT and not s.late), None)
    if fault is None or result not in BROKEN_OR_GOOD:
        return result
    mended = (s for s in said if s.result in GOOD and s.at >= fault.at and s.person == fault.person)
    same_day = (s for s in mended if row.school in m.district.schools and m.today_at(row.school, s.at) == row.date)
    return Result.FIXED if any(same_day) else Result.FAULT


def _devices(m: Moment, student: str) -> int:
    """The devices that a child wears; one where the child has left and nobody can say."""
    held = m.district.students.get(student)
    worn = [d for d in held.devices if d.kind is not DeviceKind.REMOTE_MIC] if held else ()
    return max(1, len(worn))


def turns_of(m: Moment, chase: Chase) -> Iterable[Turn]:
    """The turns of one silence, each until the next came or it was over. Whoever's answer ended it in their own turn
    settled it.
    """
    told = {t.step: t for t in chase.told}
    for step, one in sorted(told.items()):
        if not 0 <= step < len(chase.turns):
            continue
        later = min((t.due for s, t in told.items() if s > step), default=None)
        over = chase.end.at if chase.end else m.now
        until = over if later is None else min(over, later)
        limit = chase.turns[step].limit.span
        yield Turn(
            chain=chase.why.value,
            position=step + 1,
            who=chase.turns[step].label,
            student=chase.student or "",
            took=Spell(max(0.0, (until - one.due).total_seconds() / 60), _settled_by(chase, one, until)),
            limit=limit.total_seconds() / 60 if limit else None,
        )


def _settled_by(chase: Chase, one: Told, until: datetime) -> bool:
    end = chase.end
    return end is not None and end.how is Ended.ANSWERED and end.by == one.person and end.at == until


def _faults(m: Moment, rows: Sequence[CheckRow], found: Sequence[Chase]) -> tuple[FaultTimes, ...]:
    """Faults in the order reported; a report while an earlier fault of the child stands open joins it."""
    good = _good(rows)
    away = {(c.student, c.date) for c in rows if c.result == Result.AWAY.value}
    faults: dict[str, FaultTimes] = {}
    done = []
    for chase in sorted(found, key=lambda c: (c.reported_at or c.began, c.id)):
        if chase.severity is Severity.EMERGENCY or (chase.end and chase.end.how in NO_FAULT):
            continue
        student = chase.student or ""
        one = _fault(m, chase, good.get(student, ()), frozenset(d for s, d in away if s == student))
        before = faults.get(student)
        if before is not None and (before.working is None or one.reported < before.working):
            faults[student] = _joined(before, one)
            continue
        if before is not None:
            done.append(before)
        faults[student] = one
    return tuple(sorted([*done, *faults.values()], key=lambda f: (f.reported, f.student)))


def _joined(before: FaultTimes, one: FaultTimes) -> FaultTimes:
    told = min((t for t in (before.told, one.told) if t is not None), default=None)
    return replace(before, codes=tuple(dict.fromkeys((*before.codes, *one.codes))), told=told)


def _good(rows: Sequence[CheckRow]) -> Mapping[str, Sequence[datetime]]:
    """When each child's devices were said to work."""
    found: defaultdict[str, list[datetime]] = defaultdict(list)
    for row in rows:
        if row.result in GOOD and row.result_at is not None:
            found[row.student].append(row.result_at)
    return found


def _fault(m: Moment, chase: Chase, good: Sequence[datetime], away: frozenset[date]) -> FaultTimes:
    reported = chase.reported_at or chase.began
    ends = [at for at in good if at > reported]
    if chase.end is not None and chase.end.how is Ended.PUT_RIGHT:
        ends.append(chase.end.at)
    working = min(ends, default=None)
    lent = ((chase.end.at, working or m.now),) if chase.end and chase.end.how is Ended.LOANER else ()
    return FaultTimes(
        chase.student or "",
        chase.school,
        chase.faults,
        reported,
        min((t.accepted for t in chase.told if t.accepted is not None), default=None),
        working,
        lost(Broken(reported, working, away, lent), _days(m, chase, working or m.now), m.now),
    )


def _days(m: Moment, chase: Chase, until: datetime) -> Iterable[SchoolDay | NoSchool]:
    if chase.school not in m.district.schools:
        return
    day, last = chase.date, m.today_at(chase.school, until)
    while day <= last:
        yield m.day(chase.school, day)
        day += timedelta(days=1)
