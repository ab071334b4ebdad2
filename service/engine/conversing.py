"""Conversation words and what they do to running chases: wait, not me, mine, working, loaner."""

from collections.abc import Sequence
from datetime import datetime

from service.core.chains import Cannot, Ended, Event, Mine, SaidWorking, Settled, Wait, Why
from service.core.reading import Command, Outcome, Reading, Result
from service.engine import chaser, deciding
from service.engine.answering import Heard
from service.engine.context import Context
from service.engine.desk import Moment
from service.engine.letters import item
from service.engine.loading import load
from service.engine.roles import with_child
from service.engine.said import Decided, Need, Said
from service.store import chases, rounds
from service.store.tables import ChaseRow
from service.wording import letters as wording


def gather(m: Moment, context: Context, decided: Decided, heard: Heard) -> None:
    """Add what came of one outcome to what is answered."""
    if decided.recorded:
        heard.recorded.append(decided.check)
        if decided.check.body.get("late"):
            heard.note(wording.Said.LATE)
    heard.chases.extend(decided.chases)
    heard.try_until = decided.try_until or heard.try_until
    if decided.ask_at is not None:
        at = m.wall(context.school, decided.ask_at, m.today(context.school))
        heard.note(wording.Said.NEXT_TIME, at)
    if decided.passed_on:
        heard.note(wording.Said.PASSED_ON)
    if decided.need is Need.STILL_A_FAULT:
        number = next((n for n, c in context.numbers.items() if c.id == decided.check.id), None)
        by = deciding.reporter_role(m, decided.check, decided.fault_by)
        heard.ask(wording.About.STILL_A_FAULT, [item(m, decided.check, number)], by)
        heard.about.setdefault("still", [])
        heard.about["still"] = [*heard.about["still"], decided.check.id]  # type: ignore[misc]
    if decided.need is Need.SAID_WORKING:
        heard.note(wording.Said.SAID_WORKING)
    if decided.need is Need.ALARM:
        heard.caution = True
        heard.grave.append(decided.check.id)


def command(m: Moment, context: Context, reading: Reading, said: Said, heard: Heard) -> None:
    """Let a conversation word have its consequence."""
    match reading.command:
        case Command.WAIT:
            _wait(m, context, reading, said, heard)
        case Command.NOT_ME:
            _not_me(m, context, said, heard)
        case Command.MINE:
            _mine(m, context, reading, said, heard)
        case Command.WORKING if not reading.outcomes:
            _works(m, context, said, heard)
        case Command.LOANER:
            _loaner(m, context, said, heard)
        case _:
            pass


def _open_chases(m: Moment, context: Context, why: Why | None = None) -> list[ChaseRow]:
    """The running chases that the message answered was about, or that its checks have."""
    named = [r.chase for r in context.items if r.chase]
    found = [chases.lock(m.tx, id) for id in named]
    running = [row for row in found if row and row.ended_at is None and (why is None or row.why == why.value)]
    if running:
        return running
    ids = {c.id for c in context.numbers.values()}
    return [row for id in sorted(ids) for row in chaser.open_for(m, id, why)]


def _each(m: Moment, rows: Sequence[ChaseRow], event: Event, said: Said, heard: Heard) -> datetime | None:
    """Apply one event to several chases; the earliest time granted, if one was."""
    granted: list[datetime] = []
    for row in rows:
        stepped = chaser.apply(m, row, event, said.cause, said.person)
        heard.chases.append(row.id)
        if stepped.granted is not None:
            granted.append(stepped.granted.until)
    return min(granted, default=None)


def _wait(m: Moment, context: Context, reading: Reading, said: Said, heard: Heard) -> None:
    """More time: for the checker the rest of their turn, for whoever was told after them a promise (C6)."""
    rows = _open_chases(m, context, Why.SILENCE)
    if any(load(row).step > 0 for row in rows):
        _mine(m, context, reading, said, heard)
        return
    until = _each(m, rows, Wait(said.person, reading.minutes), said, heard)
    if until is None:
        heard.note(wording.Said.NOTHING)
        return
    heard.note(wording.Said.WAITING, m.wall(context.school, until, m.today(context.school)))


def _not_me(m: Moment, context: Context, said: Said, heard: Heard) -> None:
    rows = _open_chases(m, context)
    _each(m, rows, Cannot(said.person), said, heard)
    left = [load(row).current for row in rows]
    told = next((t.person for t in left if t is not None and t.person != said.person), None)
    role = deciding.who(m, load(rows[0]), told) if rows else None
    heard.note(wording.Said.PASSED_ON if told else wording.Said.NOBODY_ELSE, role=role)


def _mine(m: Moment, context: Context, reading: Reading, said: Said, heard: Heard) -> None:
    """C6: by anyone told, or named in the chain."""
    rows = [row for row in _open_chases(m, context) if _in_chain(row, said.person)]
    until = _each(m, rows, Mine(said.person, reading.minutes), said, heard)
    if until is None:
        heard.note(wording.Said.IN_HAND if rows else wording.Said.NOTHING)
        return
    heard.note(wording.Said.IN_HAND, m.wall(context.school, until, m.today(context.school)))


def _in_chain(row: ChaseRow, person: str) -> bool:
    chase = load(row)
    return person in chase.involved or any(person in turn.people for turn in chase.turns)


def _works(m: Moment, context: Context, said: Said, heard: Heard) -> None:
    """A contact's bare "working": settles the one thing the message was about; of several, asks which (C19)."""
    rows = _open_chases(m, context)
    students = {row.student for row in rows}
    if not rows:
        heard.note(wording.Said.NOTHING)
    elif len(students) > 1:
        checks = [c for c in context.numbers.values() if c.student in students]
        heard.ask(wording.About.WHICH_ONE, [item(m, c) for c in checks])
    elif not all(with_child(m, said.person, row.student or "") for row in rows):
        _each(m, rows, SaidWorking(said.person), said, heard)
        heard.note(wording.Said.SAID_WORKING)
    else:
        check = next((c for r in rows if r.check_id and (c := rounds.check(m.tx, r.check_id))), None)
        if check is not None:
            gather(m, context, deciding.decide(m, check, Outcome(Result.WORKING), True, said), heard)


def _loaner(m: Moment, context: Context, said: Said, heard: Heard) -> None:
    """C7: access meanwhile; the fault itself stays open."""
    rows = [r for r in _open_chases(m, context, Why.FAULT) if not chaser.is_emergency(r)]
    if len({row.student for row in rows}) > 1:
        heard.ask(wording.About.WHICH_ONE, [item(m, c) for c in context.numbers.values()])
        return
    for row in rows:
        row.body = {**row.body, "ended_by": said.inbox}
    _each(m, rows, Settled(Ended.LOANER, said.person), said, heard)
    heard.note(wording.Said.LOANER if rows else wording.Said.NOTHING)
