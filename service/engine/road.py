"""Faults on their road: what was said or pressed becomes a step, stored and journalled in the same transaction."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from functools import partial
from typing import Any

from service.core.days import SchoolDay
from service.core.devices import severity_of
from service.core.district import Severity
from service.core.reading import Fault as Said
from service.core.reading import Outcome
from service.core.road import Fault, OutOfPlace, Stand, Step, What, follow, stand, take_back
from service.core.road.asking import is_incident
from service.core.road.dates import reminded_on
from service.core.road.joining import came_again, joined
from service.engine import slips
from service.engine.codec import decode, encode
from service.engine.desk import Moment, stream_of
from service.store import faults
from service.store.tables import CheckRow, FaultRow


def load(row: FaultRow) -> Fault:
    """The fault that a row holds."""
    steps = tuple(decode(Step, step) for step in row.body["steps"])
    return Fault(row.id, row.student, row.school, row.code, row.date, steps, row.body.get("after"))


def is_school(m: Moment, school: str, day: date) -> bool:
    """Whether there is school on a date, as far as is known."""
    return school in m.district.schools and isinstance(m.day(school, day), SchoolDay)


def report(m: Moment, check: CheckRow, outcome: Outcome, step: Step, cause: Sequence[str]) -> None:
    """Let reported faults join those that are open, or begin."""
    usual = slips.usually_heard(m, check.student)
    for one in dict.fromkeys(outcome.faults):
        severity = severity_of(one, m.book.codes, outcome.missed_sounds, usual)
        held = {row.id: row for row in faults.locked_of(m.tx, check.student)}
        known = joined([load(row) for row in held.values()], one.code, one.side)
        row = held[known.id] if known else _begun(m, check, one)
        happen(m, row, replace(step, side=one.side, severity=severity), cause)


def _begun(m: Moment, check: CheckRow, said: Said) -> FaultRow:
    """A row for a fault that nobody has reported yet, on the school's date of today."""
    opened = m.today(check.school)
    before = faults.of_code(m.tx, check.student, said.code)
    school = partial(is_school, m, check.school)
    again = came_again(
        map(load, before), said.code, said.side, opened, school, partial(m.today_at, check.school)
    )
    return FaultRow(
        id=f"ft-{check.student}-{said.code}-{len(before) + 1}",
        student=check.student,
        school=check.school,
        code=said.code,
        date=opened,
        stage="",
        severity="",
        body={"steps": [], "after": again.id if again else None},
    )


def happen(
    m: Moment, row: FaultRow, step: Step, cause: Sequence[str], note: str = "", *, says: bool = False
) -> bool:
    """Let a step happen to a locked fault; False, and nothing is changed, where it cannot follow. `note` are
    somebody's words, kept apart in the journal; `says`: who acts is known by their word only.
    """
    before = load(row)
    try:
        after = follow(before, step)
    except OutOfPlace:
        return False
    written = _plain(step)
    body = {**row.body, "steps": [*row.body["steps"], written]}
    values = _shown(m, after) | ({"note": note} if note else {})
    if before.steps:
        faults.save(m.tx, row, body=body, **values)
    else:
        faults.insert(m.tx, FaultRow(**{**row.model_dump(), **values, "body": body}))
    _journal(m, after, cause, step.by, note, step=written, **({"says": True} if says else {}))
    return True


def _plain(step: Step) -> dict[str, Any]:
    """A step as it is kept: without what it does not say."""
    return {name: value for name, value in encode(step).items() if value not in (None, "")}


def _shown(m: Moment, fault: Fault) -> dict[str, Any]:
    """What a row shows of its fault in columns."""
    now = stand(fault)
    return {
        "stage": now.stage.value,
        "severity": now.severity.value,
        "side": now.side.value if now.side else None,
        "holder": now.holder,
        "promised": now.promised,
        "lent": now.lent,
        "closed_at": now.over,
        "wake_at": _wake(m, fault, now),
    }


def _wake(m: Moment, fault: Fault, now: Stand) -> datetime | None:
    """When the holder is to be reminded: before the first bell of the school day after the date, with the night's
    lead.
    """
    if not (now.is_open and now.asks and now.promised):
        return None
    day = reminded_on(now.promised, partial(is_school, m, fault.school))
    opens = m.day(fault.school, day) if day else None
    return opens.first - m.district.settings.overnight_lead if isinstance(opens, SchoolDay) else None


def _journal(
    m: Moment, fault: Fault, cause: Sequence[str], actor: str | None, words: str = "", **more: Any
) -> None:
    now = stand(fault)
    m.note(
        stream_of(fault.school, fault.opened),
        "fault",
        fault.id,
        cause,
        actor,
        words,
        student=fault.student,
        code=fault.code,
        stage=now.stage.value,
        severity=now.severity.value,
        side=now.side.value if now.side else None,
        holder=now.holder,
        promised=encode(now.promised),
        lent=now.lent,
        over=encode(now.over.astimezone(UTC)) if now.over else None,
        **more,
    )


def each(
    m: Moment,
    student: str | None,
    step: Step,
    cause: Sequence[str],
    codes: Collection[str] = (),
    *,
    only: str = "",
) -> list[str]:
    """Let a step happen to a student's open faults, where it can follow: to those of some `codes`, where any is
    open, and of these to the one of an id. Says to which it did.
    """
    rows = faults.locked_of(m.tx, student) if student else []
    named = [row for row in rows if row.code in codes] or rows
    return [row.id for row in named if only in ("", row.id) and happen(m, row, step, cause)]


def works(
    m: Moment, check: CheckRow, codes: Collection[str], step: Step, cause: Sequence[str], pointed: bool
) -> list[str]:
    """A full check on the child found all working: it ends the road of what was pointed at, by its code where one
    was named, and of what was only to be watched. Says what was not spoken of and stays open; while a loaner is
    worn, it is the loaner that works.
    """
    rows = faults.locked_of(m.tx, check.student)
    named = [row for row in rows if row.code in codes] or rows
    for row in named:
        if pointed or row.severity == Severity.WATCH.value:
            happen(m, row, step, cause)
    return [row.id for row in rows if row.closed_at is None and row.lent is None and not pointed]


def undo(
    m: Moment,
    students: Iterable[str],
    message: str,
    kept: Collection[str | None],
    actor: str,
    cause: Sequence[str],
) -> None:
    """Take back what one message did to the faults of these students, but for reports under the checks `kept`."""
    for student in sorted(set(students)):
        for row in faults.recent_of(m.tx, student, m.now - m.district.settings.undo_within):
            before = load(row)
            stays = any(
                s.said_in == message and s.what is What.REPORTED and s.check in kept for s in before.steps
            )
            after = before if stays else take_back(before, message, m.now)
            if after != before:
                body = {**row.body, "steps": [_plain(step) for step in after.steps]}
                faults.save(m.tx, row, body=body, **_shown(m, after))
                _journal(m, after, cause, actor, **{"taken back": message})


def left(m: Moment, rows: Iterable[FaultRow], by: str) -> None:
    """Who leaves, or whose school does, takes the fault along."""
    for row in rows:
        happen(m, row, Step(m.now, What.LEFT, by), [row.id])


def incident_of(m: Moment, code: str) -> bool:
    """Whether a code is one of the child and not of the device alone."""
    known = m.book.codes.get(code)
    return known is not None and is_incident(known)


def again(row: FaultRow) -> bool:
    """Whether the same fault worked again less than twenty school days before."""
    return row.body.get("after") is not None


def standing(row: FaultRow) -> Stand:
    """Where a stored fault stands."""
    return stand(load(row))
