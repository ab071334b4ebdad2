"""Hears what arrives: stored first, then read, applied and answered, in one transaction a message.

The order within a message: an emergency before all, then what answers a question of ours, then results,
then conversation words. Nobody is told better news than was written (invariant 6).
"""

import logging
from collections.abc import Sequence
from datetime import datetime

from service.core import replies
from service.core.chains import (
    NotHelped,
    Phase,
    Why,
)
from service.core.district import Role
from service.core.notices import NoticeError, read_notice
from service.core.reading import (
    Aside,
    Asked,
    Audience,
    Command,
    Doubt,
    Fault,
    Outcome,
    Reading,
    Result,
    only_raising,
)
from service.engine import alarms, chaser, deciding, doors, holding, notices, undoing
from service.engine.answering import Heard, answer, doubts
from service.engine.codec import decode, encode
from service.engine.context import Context, context_of, stream_for
from service.engine.conversing import command, gather
from service.engine.desk import Desk, Moment, NotSetUp
from service.engine.roles import home
from service.engine.said import Decided, Need, Said
from service.engine.trouble import place_of
from service.store import chases, inbox, outbox
from service.store.errors import StoreError
from service.store.tables import InboxRow
from service.wording import letters as wording

BATCH = 50

log = logging.getLogger(__name__)


def read_all(desk: Desk, now: datetime) -> int:
    """Read every unread message, oldest first, each in a transaction of its own; says how many."""
    done = 0
    while True:
        with desk.moment(now) as m:
            ids = [row.id for row in inbox.unread(m.tx, BATCH)]
        for id in ids:
            done += _read_one(desk, now, id)
        if len(ids) < BATCH:
            return done


def _read_one(desk: Desk, now: datetime, id: str) -> bool:
    """Read one message. One that we stumble over is put aside as it is, so that it cannot stop the others."""
    try:
        with desk.moment(now) as m:
            row = inbox.lock(m.tx, id)
            if row is None or row.state != "unread":
                return False
            hear(m, row)
    except (StoreError, NotSetUp):
        raise
    except Exception as failure:
        log.error("message %s was put aside unread: %s", id, place_of(failure))
        with desk.moment(now) as m:
            _put_aside(m, inbox.mark(m.tx, id, "aside"))
    return True


def hear(m: Moment, row: InboxRow) -> Heard:
    """Read one message and let it have its consequences; it is marked read in the same transaction."""
    person = m.district.people.get(row.person or "")
    if person is None:
        _put_aside(m, inbox.mark(m.tx, row.id, "aside"))
        return Heard()
    context = _held_context(m, row, person.id)
    asked = context.asked(m, person.language) if context else Asked(Audience.CHECKER, (), person.language)
    reading = _read(m, row, asked)
    proven = row.proven and doors.serves(m, person.id)
    if not proven:
        reading = only_raising(reading)
    heard = Heard()
    cause = [*row.body.get("cause", ()), f"rg-{row.id}"]
    _note(m, row, context, reading)
    said = Said(person.id, row.id, tuple(cause), proven)
    with m.read_by(person.id):
        _apply(m, row, context, reading, said, heard)
    inbox.mark(
        m.tx, row.id, "read", person.id, context.message.thread if context and context.message else None
    )
    if heard.asks:
        row.body = {**row.body, "asked": True}
        m.tx.add(row)
    if not row.body.get("shown"):
        answer(m, row, context, heard, cause)
    return heard


def _put_aside(m: Moment, row: InboxRow) -> None:
    m.note(stream_for(m, None), "aside", f"rg-{row.id}", words=row.text, inbox=row.id)


def _held_context(m: Moment, row: InboxRow, person: str) -> Context | None:
    """The context as it stands once everything that the message may touch is ours."""
    context = context_of(m, row)
    if not holding.is_needed(m):
        return context
    checks = list(context.numbers.values()) if context else []
    named = [ref.chase for ref in context.items if ref.chase] if context else []
    to_undo = undoing.touched_by_last(m, Said(person, row.id))
    ids = [*named, *chases.open_alarms(m.tx), *to_undo]
    day = context.day if context else m.now.date()
    holding.about(m, ids, [c.id for c in checks], {c.student for c in checks}, day)
    return context_of(m, row)


def _read(m: Moment, row: InboxRow, asked: Asked) -> Reading:
    """A page sends its reading as it is; everything else is words."""
    pressed = row.body.get("reading")
    return decode(Reading, pressed) if pressed else replies.read(row.text, asked, m.book.words)


def _apply(
    m: Moment, row: InboxRow, context: Context | None, reading: Reading, said: Said, heard: Heard
) -> None:
    if alarms.hear(m, context, reading, said, heard):
        return
    if context is None:
        _nothing_asked(m, row, said, heard)
        return
    if context.stale and not _brings_bad_news(reading):
        heard.note(wording.Said.AFTER_DAY)
        return
    if not reading.emergency and _is_all(m, context, row, reading, said, heard):
        return
    for decided in _outcomes(m, context, reading, said, heard):
        gather(m, context, decided, heard)
    command(m, context, reading, said, heard)
    doubts(m, context, _doubts(context, reading), heard)
    if reading.command is Command.HELP:
        heard.help = True


def _is_all(m: Moment, context: Context, row: InboxRow, reading: Reading, said: Said, heard: Heard) -> bool:
    """Whether the message was an undo, a notice or an answer to our question, and nothing else."""
    if reading.command is Command.UNDO:
        undoing.undo(m, said, heard)
        return True
    return _gives_notice(m, context, row, said, heard) or _answers_us(m, context, reading, said, heard)


def _doubts(context: Context, reading: Reading) -> list[tuple[Doubt, Sequence[int]]]:
    """What to ask back. Beside an emergency only who it is about, never that we did not understand."""
    if not reading.emergency:
        return [(q.doubt, q.numbers) for q in reading.questions]
    named = any(o.result is Result.FAULT for o in reading.outcomes.values())
    return [] if named or len(context.numbers) < 2 else [(Doubt.WHICH_STUDENT, tuple(context.numbers))]


def _brings_bad_news(reading: Reading) -> bool:
    return any(o.result is Result.FAULT for o in reading.outcomes.values())


def _nothing_asked(m: Moment, row: InboxRow, said: Said, heard: Heard) -> None:
    """Somebody who is asked about nothing: a coordinator may give a notice; others hear that a person looks."""
    if not _gives_notice(m, None, row, said, heard) and row.text.strip():
        heard.note(wording.Said.SEEN)


def _gives_notice(m: Moment, context: Context | None, row: InboxRow, said: Said, heard: Heard) -> bool:
    """C10: a coordinator's message that reads wholly as a notice is one, whatever it answers."""
    person = m.district.people[said.person]
    if not said.proven or not any(r.role is Role.COORDINATOR for r in person.roles):
        return False
    school = context.school if context else None
    today = m.today(school or home(m, said.person))
    read = read_notice(row.text.strip(), m.district, said.person, m.now, today, school=school)
    if isinstance(read, NoticeError):
        return False
    notices.give(m, read, said.cause)
    heard.note(wording.Said.NOTICE)
    return True


def _answers_us(m: Moment, context: Context, reading: Reading, said: Said, heard: Heard) -> bool:
    """Yes and no mean something only as answers to what we asked last."""
    if reading.aside is Aside.NO:
        return _not_helped(m, context, reading, said, heard)
    if reading.aside is not Aside.YES or reading.outcomes:
        return False
    last = context.message or outbox.last_to(m.tx, said.person)
    still = last.body.get("about", {}).get("still", []) if last else []
    checks = [c for c in context.numbers.values() if c.id in still]
    for check in checks:
        fixed = Outcome(Result.FIXED, tuple(Fault(f["code"]) for f in check.faults))
        gather(m, context, deciding.decide(m, check, fixed, True, said), heard)
    return bool(checks)


def _not_helped(m: Moment, context: Context, reading: Reading, said: Said, heard: Heard) -> bool:
    """ "No" to "did that help?": the chain is told at once (C2)."""
    tried = [
        (check, row)
        for n, check in context.numbers.items()
        if not reading.pointed or n in reading.pointed
        for row in chaser.open_for(m, check.id, Why.FAULT)
        if row.phase == Phase.TRYING.value
    ]
    if not tried or (len(tried) > 1 and not reading.pointed):
        return False
    for check, row in tried:
        chaser.apply(m, row, NotHelped(said.person), said.cause, said.person)
        heard.recorded.append(check)
        heard.chases.append(row.id)
    heard.remedies = False
    heard.note(wording.Said.PASSED_ON)
    return True


def _outcomes(m: Moment, context: Context, reading: Reading, said: Said, heard: Heard) -> Sequence[Decided]:
    blanket = len(reading.outcomes) == len(context.numbers) and not reading.pointed
    if context.several and blanket and not reading.emergency:
        heard.ask(wording.About.WHICH_ROUND)
        return []
    covered = {n for n, c in context.numbers.items() if c.state != "closed"}
    decided = []
    for number, outcome in sorted(reading.outcomes.items()):
        check = context.numbers.get(number)
        if check is None:
            continue
        pointed = number in reading.pointed
        done = deciding.decide(m, check, outcome, pointed, said)
        others_open = bool(covered - {number})
        if done.need is Need.STILL_A_FAULT and done.fault_by == said.person and others_open:
            done.need = Need.NOTHING
        decided.append(done)
    return decided


def _note(m: Moment, row: InboxRow, context: Context | None, reading: Reading) -> None:
    m.note(
        stream_for(m, context),
        "reading",
        f"rg-{row.id}",
        row.body.get("cause", []),
        row.person,
        words=row.text,
        person=row.person,
        round=next((c.round_id for c in context.numbers.values()), None) if context else None,
        inbox=row.id,
        **({"says": True} if row.body.get("says") else {}),
        **said_in(reading),
    )


def said_in(reading: Reading) -> dict[str, object]:
    """A reading as the record shows it."""
    outcomes = {
        str(number): {
            "result": outcome.result.value,
            "faults": encode(outcome.faults),
            **({"missed_sounds": list(outcome.missed_sounds)} if outcome.missed_sounds else {}),
        }
        for number, outcome in sorted(reading.outcomes.items())
    }
    return {
        "outcomes": outcomes,
        "command": reading.command.value if reading.command else None,
        "minutes": reading.minutes,
        "ask": reading.ask,
        "emergency": reading.emergency,
    }
