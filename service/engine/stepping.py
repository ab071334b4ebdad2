"""What somebody presses on the page of a fault: one step, with what it means for the chase that tells of the fault."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from service.core.chains import Again, Ended, Event, Mine, Released, SaidWorking, Settled, Undone
from service.core.reading import Outcome, Result
from service.core.road import Access, Step, What
from service.core.road.loaners import Refusal, kinds_of, refusal
from service.engine import chaser, commands, road
from service.engine.desk import Desk, Moment
from service.store import chases, faults
from service.store.tables import ChaseRow, FaultRow

PRESSED = "press-"
"""What names a press begins with; what came as words has the id of the message."""

NOTE_AT_MOST = 2000
"""Characters of an incident note."""


class Done(StrEnum):
    """What came of a press."""

    RECORDED = "recorded"
    STALE = "something else was recorded meanwhile"
    NOT_NOW = "not possible as it stands"
    NO_SUCH = "no such fault"
    NO_SUCH_LOANER = "no such loaner"
    PAST = "the date is past"
    NO_CHECK = "no check"
    TOO_LATE = "too late to undo"
    SAID = "said to be working"


@dataclass(frozen=True)
class Press:
    """Somebody's press: who, on which fault, after how many steps of it (`seen`, so that nobody acts on an old page
    and a press counts once), and what goes with it.
    """

    person: str
    fault: str
    seen: int
    until: date | None = None
    detail: str = ""


PLAIN = frozenset(
    {
        What.TRIED,
        What.MINE,
        What.HOME,
        What.CLINIC,
        What.REPAIR,
        What.PROMISED,
        What.RETURNED,
        What.ACCESS,
        What.SAID,
    }
)
"""Steps that a press takes as they are."""


def take(desk: Desk, what: What, press: Press) -> Done | Refusal:
    """Take a step. A loaner that may not go to the child is refused with the reason; nothing is recorded then."""
    with desk.moment() as m:
        row, running = _locked(m, press.fault)
        if row is None:
            return Done.NO_SUCH
        if len(row.body["steps"]) != press.seen:
            return Done.STALE
        wrong = _wrong(m, row, what, press)
        if wrong is not None:
            return wrong
        step = Step(m.now, what, press.person, _name(press), until=press.until, detail=press.detail)
        if not road.happen(m, row, step, [row.id], says=True):
            return Done.NOT_NOW
        _tell_chases(m, running, what, step)
        return Done.RECORDED


def _locked(m: Moment, id: str) -> tuple[FaultRow | None, list[ChaseRow]]:
    """A fault and the running chases about its student, but for emergencies, each under its lock, chases first."""
    seen = faults.get(m.tx, id)
    if seen is None:
        return None, []
    held = [chases.lock(m.tx, chase) for chase in chases.open_faults_of(m.tx, seen.student)]
    return faults.lock(m.tx, id), [
        row for row in held if row and row.ended_at is None and not chaser.is_emergency(row)
    ]


def _name(press: Press) -> str:
    return f"{PRESSED}{press.fault}-{press.seen}"


def _wrong(m: Moment, row: FaultRow, what: What, press: Press) -> Done | Refusal | None:
    """Why a press cannot be taken, if so."""
    if what is What.LENT:
        return lending(m, row, press.detail)
    if what not in PLAIN or (what is What.ACCESS and press.detail not in set(Access)):
        return Done.NOT_NOW
    if what is What.PROMISED and press.until is None:
        return Done.NOT_NOW
    return Done.PAST if press.until is not None and press.until < m.today(row.school) else None


def lending(m: Moment, row: FaultRow, loaner: str) -> Done | Refusal | None:
    """Why a loaner may not go to the student of a fault; None where it may."""
    known = m.district.loaners.get(loaner)
    student = m.district.students.get(row.student)
    if known is None or student is None:
        return Done.NO_SUCH_LOANER
    side = road.standing(row).side
    kinds = kinds_of(m.book.codes.get(row.code), student.devices, side)
    return refusal(known, row.student, kinds, side, faults.out(m.tx))


EVENTS: dict[What, Callable[[str], Event]] = {
    What.LENT: lambda person: Settled(Ended.LOANER, person),
    What.MINE: lambda person: Mine(person, None),
    What.SAID: SaidWorking,
}
"""What a step is to the chase that tells of the fault."""

UNDOES: dict[What, Callable[[str], Event]] = {What.MINE: Released, What.SAID: Again}
"""What takes it back there."""


def _tell_chases(m: Moment, running: list[ChaseRow], what: What, step: Step) -> None:
    event = EVENTS.get(what)
    for row in running if event else ():
        if what is What.LENT:
            row.body = {**row.body, "ended_by": step.said_in}
        chaser.apply(m, row, event(step.by or ""), [row.id], step.by)  # type: ignore[misc]


def works(desk: Desk, press: Press) -> Done:
    """A full check on the child, done now by whoever presses: it goes the way of every check, so that of somebody
    who is not with the child it is only said to be working.
    """
    with desk.glance() as m:
        row = faults.get(m.tx, press.fault)
        is_here = row is not None and row.student in m.district.students
    if row is None or not is_here:
        return Done.NO_SUCH
    if len(row.body["steps"]) != press.seen:
        return Done.STALE
    if row.lent is not None:
        return Done.NOT_NOW
    heard = commands.report(desk, press.person, row.student, Outcome(Result.WORKING), _name(press))
    if heard is None:
        return Done.NO_CHECK
    with desk.glance() as m:
        after = faults.get(m.tx, press.fault)
    return Done.RECORDED if after is not None and after.closed_at is not None else Done.SAID


def take_back(desk: Desk, press: Press) -> Done:
    """Take the last press on the page back, within the time that holds for every reply (C9)."""
    with desk.moment() as m:
        row, running = _locked(m, press.fault)
        if row is None:
            return Done.NO_SUCH
        if len(row.body["steps"]) != press.seen:
            return Done.STALE
        last = last_press(m, row)
        if last is None or last.said_in is None:
            return Done.TOO_LATE
        road.undo(m, [row.student], last.said_in, (), press.person, [row.id])
        _undo_chases(m, row, running, last)
        return Done.RECORDED


def _undo_chases(m: Moment, row: FaultRow, running: list[ChaseRow], last: Step) -> None:
    """The chase stands as if it had not been pressed."""
    checks = {step.check for step in road.load(row).steps if step.check}
    told = [chase for held in chases.of_checks(m.tx, checks).values() for chase in held]
    for chase in told:
        if chase.body.get("ended_by") == last.said_in and (held := chases.lock(m.tx, chase.id)):
            chaser.apply(m, held, Undone(last.by or ""), [row.id], last.by)
    undoes = UNDOES.get(last.what)
    for chase in running if undoes else ():
        chaser.apply(m, chase, undoes(last.by or ""), [row.id], last.by)  # type: ignore[misc]


def last_press(m: Moment, row: FaultRow) -> Step | None:
    """The last press on the page, where it can still be taken back."""
    steps = [
        step for step in road.load(row).steps if step.taken_back is None and step.what is not What.REMINDED
    ]
    last = steps[-1] if steps else None
    if last is None or not (last.said_in or "").startswith(PRESSED) or last.what is What.NOTE:
        return None
    return last if m.now - last.at <= m.district.settings.undo_within else None


def write_note(desk: Desk, press: Press, words: str) -> Done:
    """Keep what somebody writes about an incident, in the place of what was written before."""
    with desk.moment() as m:
        row = faults.lock(m.tx, press.fault)
        if row is None:
            return Done.NO_SUCH
        written = words.strip()[:NOTE_AT_MOST]
        if not road.incident_of(m, row.code) or not written or written == row.note:
            return Done.NOT_NOW
        road.happen(m, row, Step(m.now, What.NOTE, press.person, _name(press)), [row.id], written, says=True)
        return Done.RECORDED
