"""Answers to an earlier day's message: what still runs is answered by them, what ended unsaid has them kept beside
it (C15), and of today nothing changes.
"""

from service.core.chains import Why
from service.core.reading import Doubt, Reading, Result
from service.engine import chaser, deciding
from service.engine.answering import Heard
from service.engine.context import Context
from service.engine.conversing import command, doubts, gather
from service.engine.desk import Moment
from service.engine.results import UNSAID
from service.engine.roles import is_staff
from service.engine.said import Decided, Said, say
from service.store import chases, rounds
from service.store.tables import CheckRow
from service.wording import letters as wording


def is_over(m: Moment, context: Context) -> bool:
    """Whether the message answered is of an earlier day, and no chase that it told of still runs."""
    if not context.stale:
        return False
    told_of = [chases.get(m.tx, ref.chase) for ref in context.items if ref.chase]
    return all(row is None or row.ended_at is not None for row in told_of)


def hear(m: Moment, context: Context, reading: Reading, said: Said, heard: Heard) -> None:
    """Let words about an earlier day have what consequence they still can, and say that they were about it."""
    for number, outcome in sorted(reading.outcomes.items()):
        check = context.numbers.get(number)
        if check is None:
            continue
        pointed = number in reading.pointed
        if outcome.result is Result.FAULT or (pointed and stands_now(m, check)):
            gather(m, context, deciding.decide(m, check, outcome, pointed, said), heard)
        elif check.result in UNSAID and (outcome.result not in deciding.GOOD or is_staff(m, said.person)):
            say(m, check, outcome, said)
            gather(m, context, Decided(check), heard)
    if any(chaser.open_for(m, check.id) for check in context.numbers.values()):
        command(m, context, reading, said, heard)
    bad = [q for q in reading.questions if _brings_bad_news(reading) or q.doubt is Doubt.NOT_OK]
    doubts(m, context, [(q.doubt, q.numbers) for q in bad], said, heard)
    heard.earlier = True
    if not heard.chases:
        heard.note(wording.Said.AFTER_DAY)


def stands_now(m: Moment, check: CheckRow) -> bool:
    """Whether a fault reported under an earlier day's check is open and nobody has reported one of the child today."""
    today = m.today(check.school)
    since = rounds.student_checks(m.tx, check.student, today, today)
    return bool(chaser.open_for(m, check.id, Why.FAULT)) and all(c.result != Result.FAULT.value for c in since)


def _brings_bad_news(reading: Reading) -> bool:
    return any(o.result is Result.FAULT for o in reading.outcomes.values())
