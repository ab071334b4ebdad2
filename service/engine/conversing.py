"""Conversation words and what they do to running chases: wait, not me, mine, working, loaner."""

from collections.abc import Iterable, Sequence
from datetime import datetime

from service.core.chains import (
    Cannot,
    Chase,
    Ended,
    Event,
    Granted,
    Mine,
    Phase,
    SaidWorking,
    Settled,
    Wait,
    Why,
)
from service.core.district import Role
from service.core.reading import Command, Doubt, Outcome, Reading, Result
from service.core.road import What
from service.engine import chaser, deciding, road
from service.engine.answering import Did, Heard
from service.engine.context import Context
from service.engine.desk import Moment
from service.engine.letters import item, next_of
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
        heard.did = Did.LATER
    if decided.passed_on:
        heard.did = Did.PASSED_ON
        heard.note(wording.Said.PASSED_ON)
    if decided.stays:
        heard.note(wording.Said.FAULT_STAYS)
    if decided.told is not None:
        heard.note(wording.Said.PASSED_ON, role=decided.told)
    if decided.need is Need.STILL_A_FAULT:
        number = next((n for n, c in context.numbers.items() if c.id == decided.check.id), None)
        by = deciding.reporter_role(m, decided.check, decided.fault_by)
        heard.ask(wording.About.STILL_A_FAULT, [item(m, decided.check, number)], by)
        heard.about.setdefault("still", [])
        heard.about["still"] = [*heard.about["still"], decided.check.id]  # type: ignore[misc]
    if decided.need is Need.SAID_WORKING:
        heard.did = Did.SAID_WORKING
        heard.note(wording.Said.SAID_WORKING)
    if decided.need is Need.ALARM:
        heard.caution = True
        heard.grave.append(decided.check.id)


def command(m: Moment, context: Context, reading: Reading, said: Said, heard: Heard) -> None:
    """Let a conversation word have its consequence."""
    match reading.command:
        case Command.WAIT:
            _wait(m, context, reading, said, heard)
        case Command.NOT_ME | Command.CANNOT:
            _not_me(m, context, said, heard)
        case Command.MINE:
            _mine(m, context, reading, said, heard)
        case Command.WORKING if not reading.outcomes:
            _works(m, context, said, heard)
        case Command.LOANER:
            _loaner(m, context, said, heard)
        case Command.WHO:
            heard.ahead += who_is_next(m, context, _open_chases(m, context))
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


def _each(
    m: Moment, rows: Sequence[ChaseRow], event: Event, said: Said, heard: Heard
) -> tuple[datetime | None, bool]:
    """Apply one event to several chases; the earliest time granted, if one was, and whether the climb waits for it."""
    granted: list[Granted] = []
    for row in rows:
        stepped = chaser.apply(m, row, event, said.cause, said.person)
        heard.chases.append(row.id)
        if stepped.granted is not None:
            granted.append(stepped.granted)
    return min((g.until for g in granted), default=None), any(g.holds for g in granted)


def _wait(m: Moment, context: Context, reading: Reading, said: Said, heard: Heard) -> None:
    """More time: for the checker the rest of their turn, for whoever was told after them a promise (C6)."""
    rows = _open_chases(m, context, Why.SILENCE)
    if any(load(row).step > 0 for row in rows):
        _mine(m, context, reading, said, heard)
        return
    until, holds = _each(m, rows, Wait(said.person, reading.minutes), said, heard)
    if until is None:
        heard.note(wording.Said.NOTHING)
        return
    heard.did = Did.HELD if holds else heard.did
    at = m.wall(context.school, until, m.today(context.school))
    heard.note(wording.Said.WAITING if holds else wording.Said.NO_MORE_TIME, at, _next_role(m, rows))


def who_is_next(m: Moment, context: Context, rows: Sequence[ChaseRow]) -> list[wording.Ahead]:
    """With whom each thing is now, and who is told next and when; things that stand alike together."""
    numbers = {check.id: n for n, check in context.numbers.items()}
    alike: dict[tuple[Role | None, wording.Next | None], list[wording.Item]] = {}
    for row in rows:
        chase = load(row)
        check = rounds.check(m.tx, row.check_id) if row.check_id else None
        told = chase.in_hand.person if chase.in_hand else chase.current.person if chase.current else None
        items = alike.setdefault((deciding.who(m, chase, told), next_of(m, chase)), [])
        items += [item(m, check, numbers.get(check.id))] if check else []
    found = [wording.Ahead(tuple(items), role, after) for (role, after), items in alike.items()]
    return found or [wording.Ahead()]


def _not_me(m: Moment, context: Context, said: Said, heard: Heard) -> None:
    """The turn passes on at once from whoever has it; from anybody else nothing changes, and they hear whose it is."""
    rows = _open_chases(m, context)
    own = [row for row in rows if _has_the_turn(load(row), said.person)]
    _each(m, own, Cannot(said.person), said, heard)
    if not rows:
        heard.note(wording.Said.NOTHING)
        return
    heard.did = Did.PASSED_ON if own else heard.did
    chase = load((own or rows)[0])
    told = chase.in_hand.person if chase.in_hand else chase.current.person if chase.current else None
    role = deciding.who(m, chase, told) if told != said.person else None
    if own:
        heard.note(wording.Said.PASSED_ON if role else wording.Said.NOBODY_ELSE, role=role)
    else:
        heard.note(wording.Said.NOT_YOURS, role=role)


def _has_the_turn(chase: Chase, person: str) -> bool:
    if chase.in_hand is not None and chase.in_hand.holds:
        return chase.in_hand.person == person
    return chase.phase is Phase.CLIMBING and chase.current is not None and chase.current.person == person


def _next_role(m: Moment, rows: Sequence[ChaseRow]) -> Role | None:
    """The role of who is told next, if one of these chases goes on unanswered."""
    ahead = [next_of(m, load(row)) for row in rows]
    return next((after.role for after in ahead if after), None)


def put_off(m: Moment, context: Context, numbers: Sequence[int], said: Said) -> tuple[str, wording.Next | None]:
    """ "Later", "not here yet": when the person is asked again (empty: not before the next is told), and who is told
    after that. The clock of the silence runs on, a little longer the first time.
    """
    checks = [context.numbers[n] for n in numbers if n in context.numbers]
    rows = [row for check in checks for row in chaser.open_for(m, check.id, Why.SILENCE)]
    own = [row for row in rows if _has_the_turn(load(row), said.person)]
    for row in own if said.proven else ():
        chaser.apply(m, row, Wait(said.person, None, asks=True), said.cause, said.person)
    times = [at for row in own for at in load(row).reminders_due[:1]]
    ahead = [after for row in rows if (after := next_of(m, load(row)))]
    again = m.wall(context.school, min(times), m.today(context.school)) if times else ""
    return again, min(ahead, key=lambda after: after.at, default=None)


def _mine(m: Moment, context: Context, reading: Reading, said: Said, heard: Heard) -> None:
    """C6: by anyone told, or named in the chain."""
    rows = [row for row in _open_chases(m, context) if _in_chain(row, said.person)]
    until, holds = _each(m, rows, Mine(said.person, reading.minutes), said, heard)
    heard.did = Did.HELD if rows else heard.did
    _on_the_road(m, [row for row in rows if row.why == Why.FAULT.value], What.MINE, said)
    if any(chaser.is_emergency(row) for row in rows):
        heard.note(wording.Said.ALARM_GOES_ON)
    if until is not None:
        at = m.wall(context.school, until, m.today(context.school))
        heard.note(wording.Said.IN_HAND, at, None if holds else _next_role(m, rows))
    elif not rows:
        heard.note(wording.Said.NOTHING)


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
        held = [item(m, c, n) for n, c in context.numbers.items() if c.student in students]
        heard.ask(wording.About.WHICH_ONE, held)
    elif not all(with_child(m, said.person, row.student or "") for row in rows):
        _each(m, rows, SaidWorking(said.person), said, heard)
        _on_the_road(m, rows, What.SAID, said)
        heard.did = Did.SAID_WORKING
        heard.note(wording.Said.SAID_WORKING)
    else:
        check = next((c for r in rows if r.check_id and (c := rounds.check(m.tx, r.check_id))), None)
        if check is not None:
            gather(m, context, deciding.decide(m, check, Outcome(Result.WORKING), True, said), heard)


def _loaner(m: Moment, context: Context, said: Said, heard: Heard) -> None:
    """C7: access meanwhile; the fault itself stays open."""
    rows = [r for r in _open_chases(m, context, Why.FAULT) if not chaser.is_emergency(r)]
    if len({row.student for row in rows}) > 1:
        heard.ask(wording.About.WHICH_ONE, [item(m, c, n) for n, c in context.numbers.items()])
        return
    for row in rows:
        row.body = {**row.body, "ended_by": said.inbox}
    _each(m, rows, Settled(Ended.LOANER, said.person), said, heard)
    _on_the_road(m, rows, What.LENT, said)
    heard.did = Did.LOANER if rows else heard.did
    heard.note(wording.Said.LOANER if rows else wording.Said.NOTHING)


def _on_the_road(m: Moment, rows: Sequence[ChaseRow], what: What, said: Said) -> None:
    """What somebody says to an alert is a step of the faults that it told of."""
    for student in sorted({row.student for row in rows if row.student}):
        codes = {code for row in rows if row.student == student for code in load(row).faults}
        road.each(m, student, said.step(m.now, what), said.cause, codes)


def doubts(
    m: Moment, context: Context, asked: Iterable[tuple[Doubt, Sequence[int]]], said: Said, heard: Heard
) -> None:
    """Turn what the reader could not settle into questions, one for each kind of doubt."""
    held: dict[Doubt, list[int]] = {}
    for doubt, numbers in asked:
        held.setdefault(doubt, []).extend(numbers)
    for doubt, numbers in held.items():
        if doubt is Doubt.LATER:
            _later(m, context, numbers, said, heard)
            continue
        of = [n for n in dict.fromkeys(numbers) if n in context.numbers]
        heard.ask(wording.About(doubt.value), [item(m, context.numbers[n], n) for n in of])


def _later(m: Moment, context: Context, numbers: Sequence[int], said: Said, heard: Heard) -> None:
    """The offer that goes with "later": of those named, else of all that is open (then nobody is named back)."""
    open = [n for n, check in sorted(context.numbers.items()) if check.state != "closed"]
    named = [n for n in dict.fromkeys(numbers) if n in context.numbers]
    of = named or open
    again, after = put_off(m, context, of, said)
    if again:
        heard.did = Did.HELD
        heard.chases += [row.id for n in of for row in chaser.open_for(m, context.numbers[n].id, Why.SILENCE)]
    shown = named or (open if len(open) == 1 else [])
    items = [item(m, context.numbers[n], n) for n in shown]
    heard.ask(wording.About.LATER, items, again=again, next=after, number=open[0] if not shown and open else None)
