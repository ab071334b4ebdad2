"""Emergencies in conversation (C16, C21): raised by whoever says so, ended only by who may, once confirmed."""

from dataclasses import replace

from service.core.chains import Answered, Ask, Chase, Confirmed, Ended, Found
from service.core.district import Severity
from service.core.reading import Aside, Fault, Outcome, Reading, Result
from service.core.road import What
from service.engine import asking_again, chaser, deciding, results, road
from service.engine.answering import Heard
from service.engine.context import Context, nearest_round
from service.engine.desk import Moment
from service.engine.loading import load
from service.engine.roles import home
from service.engine.said import Said, end_silence
from service.store import chases, rounds, statements
from service.store.tables import ChaseRow
from service.wording import letters as wording

ENDS = {Aside.FOUND: Ended.FOUND, Aside.MEDICAL_HELP: Ended.MEDICAL_HELP}
QUESTIONS = {
    Ended.FOUND.value: wording.About.CONFIRM_FOUND,
    Ended.MEDICAL_HELP.value: wording.About.CONFIRM_HELP,
}


UNSAID = "SWALLOWED"
"""The code of an emergency that nobody gave another."""


def graves(m: Moment) -> frozenset[str]:
    """The codes that are an emergency."""
    return frozenset(id for id, code in m.book.codes.items() if code.severity is Severity.EMERGENCY)


def hear(m: Moment, context: Context | None, reading: Reading, said: Said, heard: Heard) -> bool:
    """Whether the message was about an emergency and nothing else."""
    running = _of(m, said.person)
    for row in running if said.proven else ():
        chaser.apply(m, row, Answered(said.person), said.cause, said.person)
    if reading.emergency:
        _raise(m, context, reading, said, heard)
        return False
    if not running or not said.proven:
        return False
    return _ends(m, running, reading, said, heard)


def _of(m: Moment, person: str) -> list[ChaseRow]:
    """The running emergencies that somebody reported, was told of, or may end."""
    found = [chases.lock(m.tx, id) for id in chases.open_alarms(m.tx)]
    return [row for row in found if row and row.ended_at is None and _concerns(load(row), person)]


def _concerns(chase: Chase, person: str) -> bool:
    return person in (*chase.involved, *chase.closers)


def _raise(m: Moment, context: Context | None, reading: Reading, said: Said, heard: Heard) -> None:
    """The caution goes first; where no student is named the alarm is the school's."""
    heard.caution = True
    grave = [n for n, o in reading.outcomes.items() if o.result is Result.FAULT and is_grave(m, o.faults)]
    if grave and context is not None and all(n in context.numbers for n in grave):
        return
    near = nearest_round(m, said.person)
    school = near.school if near else context.school if context else home(m, said.person)
    only = next(iter(context.numbers.values())) if context and len(context.numbers) == 1 else None
    school = only.school if only else school
    if only is not None:
        unsaid = Outcome(Result.FAULT, (Fault(UNSAID),))
        road.report(m, only, unsaid, said.step(m.now, What.REPORTED, only.id), said.cause)
    heard.chases.append(deciding.alarm(m, only, only.student if only else None, school, (), said))


def is_grave(m: Moment, faults: tuple[Fault, ...]) -> bool:
    """Whether one of the faults is an emergency by its code."""
    return any(f.code in graves(m) for f in faults)


def _ends(m: Moment, running: list[ChaseRow], reading: Reading, said: Said, heard: Heard) -> bool:
    how = ENDS.get(reading.aside) if reading.aside else None
    if how is not None:
        for row in running:
            stepped = chaser.apply(m, row, Found(said.person, how), said.cause, said.person)
            heard.chases.append(row.id)
            if any(isinstance(e, Ask) for e in stepped.effects):
                heard.ask(QUESTIONS[how.value])
        if not heard.asks:
            heard.note(wording.Said.SEEN)
        return True
    if reading.aside not in (Aside.YES, Aside.NO):
        return False
    waiting = [r for r in running if (p := load(r).pending) is not None and p.person == said.person]
    for row in waiting:
        chase = chaser.apply(
            m, row, Confirmed(said.person, reading.aside is Aside.YES), said.cause, said.person
        ).chase
        heard.chases.append(row.id)
        if chase.end is not None:
            _over(m, row, chase, said)
            heard.note(wording.Said.EMERGENCY_OVER)
    if waiting and reading.aside is Aside.NO:
        heard.note(wording.Said.NOT_CALLED_BACK)
    return bool(waiting)


def _over(m: Moment, row: ChaseRow, chase: Chase, said: Said) -> None:
    """After "found" the check is open again, asked when the reporter's rest is over; after medical help the
    child has left the classroom.
    """
    pending = chase.pending
    if pending is None or chase.reporter is None:
        return
    rest = pending.at + m.district.settings.emergency_rest
    m.remember(f"rest/{chase.reporter}", rest, {})
    check = rounds.check(m.tx, row.check_id) if row.check_id else None
    if check is None:
        return
    over = replace(said.step(m.now, What.OVER), detail=pending.how.value)
    road.each(m, check.student, over, said.cause, graves(m))
    results.take_back(m, statements.as_written(m.tx, check.id), said.cause, said.person)
    check.faults = []
    end_silence(m, check, Ended.ASK_LATER, said)
    if pending.how is Ended.MEDICAL_HELP:
        check.state = "asked"
        results.close(m, check.id, Result.AWAY, said.cause, said.person, "with medical help")
        return
    round_row = rounds.get(m.tx, check.round_id)
    checker = round_row.checker if round_row else chase.reporter
    day = m.scene(check.school, check.date)
    if rest < day.last:
        asking_again.ask_at(m, check, rest, checker, said.cause)
    else:
        check.state = "asked"
        results.close(m, check.id, Result.NOT_DONE, said.cause, said.person, "no time")
