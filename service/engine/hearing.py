"""Hears what arrives: stored first, then read, applied and answered, many messages in a transaction.

The order within a message: an emergency before all, then what answers a question of ours, then results,
then conversation words. Nobody is told better news than was written (invariant 6).
"""

import logging
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime

from service.core import replies
from service.core.chains import (
    NotHelped,
    Phase,
    Why,
)
from service.core.district import Role
from service.core.mail import own_words
from service.core.notices import NoticeError, read_notice
from service.core.reading import (
    Aside,
    Asked,
    Audience,
    Command,
    Doubt,
    Fault,
    Outcome,
    Question,
    Reading,
    Result,
    only_raising,
)
from service.engine import (
    alarms,
    automatic,
    chaser,
    deciding,
    doors,
    earlier,
    follow_ups,
    holding,
    misread,
    notices,
    undoing,
)
from service.engine.ahead import read_ahead
from service.engine.answering import Did, Heard, answers
from service.engine.codec import decode, encode
from service.engine.context import OPEN_FOR, Context, context_of, stream_for
from service.engine.conversing import command, doubts, gather
from service.engine.desk import Desk, Moment
from service.engine.posting import Parcel, post_all
from service.engine.roles import home
from service.engine.said import Decided, Need, Said
from service.engine.stumbling import OURS
from service.engine.trouble import place_of
from service.store import chases, inbox, outbox
from service.store.tables import InboxRow
from service.wording import letters as wording

BATCH = 50

SAME_WITHIN = 5
"""So many of somebody's last messages are looked at for the same words."""

SAME_AT_MOST = 3
"""So often the same words that were understood are answered."""

log = logging.getLogger(__name__)


def read_all(desk: Desk, now: datetime) -> int:
    """Read every unread message, oldest first, many in a transaction; says how many."""
    done = 0
    while True:
        try:
            heard = _read_some(desk, now)
        except OURS:
            raise
        except Exception:
            heard = _one_by_one(desk, now)
        done += heard
        if not heard:
            return done


def _read_some(desk: Desk, now: datetime) -> int:
    with desk.moment(now) as m:
        heard = hear_free(m, one_of_each(inbox.unread(m.tx, BATCH)))
    return _one_by_one(desk, now) if heard is None else len(heard)


def one_of_each(rows: Iterable[InboxRow]) -> list[InboxRow]:
    """The first of each sender: what somebody says next may answer what they hear of it."""
    return list({row.person or row.id: row for row in reversed(list(rows))}.values())[::-1]


def _one_by_one(desk: Desk, now: datetime) -> int:
    """One of them fails, or another instance is at it: each by itself, so that the others are heard. Who has to wait
    is not overtaken by their own next words.
    """
    with desk.moment(now) as m:
        unread = [(row.id, row.person) for row in inbox.unread(m.tx, BATCH)]
    heard, left = 0, set()
    for id, person in unread:
        if person is None or person not in left:
            done = _read_one(desk, now, id)
            heard += done
            left |= set() if done else {person}
    return heard


def _read_one(desk: Desk, now: datetime, id: str) -> bool:
    """Read one message. One that we stumble over is put aside as it is, so that it cannot stop the others."""
    try:
        with desk.moment(now) as m:
            row = inbox.lock_free(m.tx, id)
            return row is not None and row.state == "unread" and hear_free(m, [row]) is not None
    except OURS:
        raise
    except Exception as failure:
        log.error("message %s was put aside unread: %s", id, place_of(failure))
        with desk.moment(now) as m:
            _put_aside(m, inbox.mark(m.tx, id, "aside"))
    return True


def hear_all(m: Moment, rows: Sequence[InboxRow]) -> list[Heard]:
    """Read messages of different senders, which are ours, one after the other, and let them have their consequences.

    They are marked read in the same transaction. What they are answered is put out at its end, since the locks of
    people come after all others.
    """
    _hold(m, rows, waits=True)
    return _heard(m, rows)


def hear_free(m: Moment, rows: Sequence[InboxRow]) -> list[Heard] | None:
    """The same; None, and nothing is done, where another instance holds something of what they are about."""
    return _heard(m, rows) if _hold(m, rows, waits=False) else None


def _heard(m: Moment, rows: Sequence[InboxRow]) -> list[Heard]:
    if not rows:
        return []
    read_ahead(m, rows)
    answered: list[Parcel] = []
    heard = [hear(m, row, answered) for row in rows]
    if answered:
        post_all(m, answered)
    return heard


def hear(m: Moment, row: InboxRow, answered: list[Parcel]) -> Heard:
    """Read one message and let it have its consequences, what it is answered apart: that joins `answered`."""
    if automatic.is_from_a_program(row):
        answered += automatic.hear(m, row)
        _put_aside(m, inbox.mark(m.tx, row.id, "aside"))
        return Heard()
    person = m.district.people.get(row.person or "")
    if person is None:
        _put_aside(m, inbox.mark(m.tx, row.id, "aside"))
        return Heard()
    context = context_of(m, row)
    automatic.is_back(m, person.id)
    proven = row.proven and doors.serves(m, person.id)
    understood = follow_ups.understand(m, row, context, reading_of(m, row, context), proven)
    reading, context = understood.reading, understood.context
    if not proven:
        reading = only_raising(reading)
    heard = Heard()
    cause = [*row.body.get("cause", ()), f"rg-{row.id}"]
    _note(m, row, context, reading)
    said = Said(person.id, row.id, tuple(cause), proven)
    with m.read_by(person.id):
        if understood.replaces:
            undoing.replace(m, said, heard)
        _apply(m, row, context, reading, said, heard)
    heard.about |= follow_ups.kept(heard, row, understood)
    heard.misread = misread.first_of(m, row, heard)
    repeats = bool(heard.asks) and _repeats(m, row, heard)
    answerable = not row.body.get("shown") and not repeats
    if answerable and (words := answers(m, row, context, heard, cause)):
        answered += words
        # What is laid for them from now on waits as after any message, though this one is put out a little later.
        m.last_sent[person.id] = m.now
    if heard.misread:
        answered += misread.parcels(m, row, context, heard.misread, cause)
    thread = context.message.thread if context and context.message else None
    answers_to = {"answers": understood.question} if understood.question else {}
    inbox.mark(m.tx, row.id, "read", person.id, thread, more=_more(heard, repeats) | answers_to)
    return heard


def _repeats(m: Moment, row: InboxRow, heard: Heard) -> bool:
    """Whether a mail says once more what we have asked about already: a program that answers every question of ours
    with the same words is asked once. What was understood, as "later" is, a person may say a few times.
    """
    if "mail" not in row.body:
        return False
    before = [r for r in inbox.recent_of(m.tx, str(row.person), row.id, SAME_WITHIN) if r.channel == row.channel]
    words = own_words(row.text)
    asked = (r for r in before if r.body.get("asked") and m.now - r.received_at < OPEN_FOR)
    return sum(own_words(r.text) == words for r in asked) >= (1 if heard.puzzled else SAME_AT_MOST)


def _more(heard: Heard, repeats: bool) -> dict[str, object]:
    """What is kept with a message of what came of it: whether it was asked back, whether that was for want of sense,
    which others before it fared alike, what an undo has to find.
    """
    kept: dict[str, object] = {"asked": True} if heard.asks else {}
    # What is not answered, a person has to see.
    kept |= {"unclear": True} if heard.puzzled or repeats else {}
    kept |= {"first": heard.misread} if heard.misread else {}
    return kept | ({"did": {"what": heard.did.value, "chases": heard.chases}} if heard.did else {})


def _put_aside(m: Moment, row: InboxRow) -> None:
    m.note(stream_for(m, None), "aside", f"rg-{row.id}", words=row.text, inbox=row.id)


def _hold(m: Moment, rows: Sequence[InboxRow], *, waits: bool) -> bool:
    """Lock all that the messages may touch at once, in the one order of locks; it is read again afterwards. False where
    somebody else holds some of it and this does not wait for them.
    """
    if not rows or not holding.is_needed(m):
        return True
    ids = set(chases.open_alarms(m.tx))
    checks: set[str] = set()
    students: dict[date, set[str]] = {}
    for row in rows:
        if automatic.is_from_a_program(row):
            ids |= automatic.touched(m, row)
            continue
        person = m.district.people.get(row.person or "")
        if person is None:
            continue
        context = context_of(m, row)
        ids |= {ref.chase for ref in context.items if ref.chase} if context else set()
        ids |= set(undoing.touched_by_last(m, Said(person.id, row.id)))
        named = list(context.numbers.values()) if context else []
        checks |= {check.id for check in named}
        day = context.day if context else m.now.date()
        students.setdefault(day, set()).update(check.student for check in named)
    return holding.about(m, ids, checks, students, waits=waits)


def reading_of(m: Moment, row: InboxRow, context: Context | None) -> Reading:
    """What a message of somebody we know says by itself. A page sends its reading as it is; all else is words."""
    language = m.district.people[row.person or ""].language
    asked = context.asked(m, language) if context else Asked(Audience.CHECKER, (), language)
    pressed = row.body.get("reading")
    if pressed:
        return decode(Reading, pressed)
    read = replies.read(row.text, asked, m.book.words)
    # A mail without a word of its writer's is still somebody's answer: what did they mean?
    return replace(read, questions=(Question(Doubt.UNCLEAR),)) if "mail" in row.body and read == Reading() else read


def _apply(
    m: Moment, row: InboxRow, context: Context | None, reading: Reading, said: Said, heard: Heard
) -> None:
    if alarms.hear(m, context, reading, said, heard):
        return
    if context is None:
        _nothing_asked(m, row, said, heard)
        return
    if not reading.emergency and _is_all(m, context, row, reading, said, heard):
        return
    if earlier.is_over(m, context) and not reading.emergency:
        earlier.hear(m, context, reading, said, heard)
        return
    for decided in _outcomes(m, context, row, reading, said, heard):
        gather(m, context, decided, heard)
    command(m, context, reading, said, heard)
    doubts(m, context, _doubts(context, reading), said, heard)
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
    asked = [c for c in context.numbers.values() if c.id in still]
    checks = [c for c in asked if not context.stale or earlier.stands_now(m, c)]
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
    heard.did = Did.PASSED_ON
    heard.remedies = False
    heard.note(wording.Said.PASSED_ON)
    return True


def _outcomes(
    m: Moment, context: Context, row: InboxRow, reading: Reading, said: Said, heard: Heard
) -> Sequence[Decided]:
    blanket = len(reading.outcomes) == len(context.numbers) and not reading.pointed
    if context.several and not reading.emergency and (blanket or follow_ups.names_by_number(row, context, reading)):
        follow_ups.ask_which_round(m, context, heard)
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
            **({"listened": encode(outcome.listened)} if outcome.listened else {}),
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
