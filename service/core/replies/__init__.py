"""Reading a reply: thumb-typed words in, what they settle and what must be asked out.

**The asymmetric rule.** A student is read as `working` (or `fixed`) only where the reply has explicit good
words for that student, or for all or the rest, and nothing stands beside them that could turn them:

1. in the same breath: no negation, no hedge, no question, no postponement, no past tense, no unknown word,
   no bare acknowledgement, no alias that was only guessed from a typing error;
2. anywhere, for a word that names nobody ("all ok"): no breath without a subject that doubts, asks, puts off
   or tells of a fault; no exception ("but", "except") that fits nobody; no fault of a student beside it
   unless a connective ("but", "rest") says that it speaks of the others;
3. for the student: no fault, absence or doubt elsewhere in the reply, except a fault that a remedy put right;
4. for a student with two devices: both are spoken for.

Otherwise the reply is asked about. Bad news needs less: a hedge does not stop it, and one typing error is
forgiven towards it. An emergency needs least of all.
"""

from itertools import pairwise

from service.core.reading import (
    Asked,
    Audience,
    Command,
    Doubt,
    Fault,
    Outcome,
    Question,
    Reading,
    Result,
)
from service.core.replies.clauses import segments
from service.core.replies.conversation import Talk, talk, wants_time
from service.core.replies.emergency import Alarm, alarm
from service.core.replies.item import Item
from service.core.replies.items import items
from service.core.replies.mail import own_words
from service.core.replies.meaning import Meaning, meaning
from service.core.replies.numbers import settle_numbers
from service.core.replies.words import Words, default_words

__all__ = ["default_words", "read"]


def read(text: str, asked: Asked, words: Words) -> Reading:
    """What `text` says about the students of `asked`. Never raises, whatever the text."""
    own, cut = own_words(text)
    if not own.strip():
        return Reading()
    listed, shortened = items(own, asked, words)
    found, counted = settle_numbers(listed, asked)
    if cut or shortened:
        found.append(Item("hedge", text="(cut off)"))
    _speaker(found)
    if asked.audience is Audience.CONTACT:
        _at_home(found)
        _nod(found)
        _not_mine(found)
    danger = alarm(found, own, words)
    said = talk(found, counted, asked)
    parts = segments(found)
    waits = asked.audience is Audience.CHECKER and wants_time(found, counted)
    judged = meaning(parts, asked, words.kinds_of_code, waits)
    if danger is not Alarm.NONE:
        _raise_alarm(judged, danger, asked)
    if asked.audience is Audience.CONTACT:
        said = _contact_result(judged, said)
    if len(asked.students) == 1:
        judged.pointed |= _pointed_alone(judged, asked)
    if danger is Alarm.EMERGENCY:
        said = Talk(aside=said.aside)
    return _reading(judged, said, danger)


def _pointed_alone(judged: Meaning, asked: Asked) -> set[int]:
    """The only student asked about, where a fault is named or a contact answers the alert with a result."""
    named = {n for n, o in judged.outcomes.items() if o.faults or o.result is Result.AWAY}
    return set(judged.outcomes) if asked.audience is Audience.CONTACT else named


def _raise_alarm(judged: Meaning, danger: Alarm, asked: Asked) -> None:
    """Put the swallowed cell before all else that was said about those named."""
    judged.outcomes = {n: o for n, o in judged.outcomes.items() if o.result is Result.AWAY}
    judged.questions = [Question(Doubt.UNCLEAR)]
    numbers = judged.pointed or ({s.number for s in asked.students} if len(asked.students) == 1 else set())
    if danger is Alarm.LOOK or not numbers:
        return
    judged.questions = []
    for student in asked.students:
        if student.number in numbers:
            sides = [d.side for d in student.devices if d.side]
            fault = Fault("SWALLOWED", sides[0] if len(sides) == 1 else None)
            judged.outcomes[student.number] = Outcome(Result.FAULT, (fault,))
    judged.because.append("SWALLOWED: a cell or magnet where it can burn a child")


def _speaker(found: list[Item]) -> None:
    """"I am sick" is said of who writes, not of a student."""
    for before, item in pairwise(found):
        if before.text == "im" and item.role == "away":
            item.role = "notme"


def _not_mine(found: list[Item]) -> None:
    """A contact's "not my student" says that the alert went to the wrong person."""
    for item in found:
        if item.role == "gone" and "my" in item.text.split():
            item.role = "notme"


def _at_home(found: list[Item]) -> None:
    """A guardian's "works at home" says where it works, not where the child is."""
    for before, item in pairwise(found):
        if before.role == "good" and item.role == "away" and item.text.startswith("at home"):
            item.role = "filler"


def _nod(found: list[Item]) -> None:
    """A contact's "ok" may only say that the alert was seen, unless it follows a student's name or number."""
    for at, item in enumerate(found):
        named = at > 0 and found[at - 1].role in ("number", "name")
        if item.role != "good" or not item.can("nod") or named:
            continue
        after = [other.role for other in found[at + 1 : at + 3] if other.role not in ("soft", "pronoun", "filler")]
        item.role = "filler" if after[:1] in (["fixed"], ["fixes"]) else "ack"


def _contact_result(judged: Meaning, said: Talk) -> Talk:
    """A contact's good news is the word "working" to the service as well."""
    good = any(o.result in (Result.WORKING, Result.FIXED) for o in judged.outcomes.values())
    if good and said.command is None:
        return Talk(Command.WORKING, aside=said.aside, please=said.please)
    return said


def _reading(judged: Meaning, said: Talk, danger: Alarm) -> Reading:
    questions = list(dict.fromkeys(judged.questions))
    if said.command in (Command.LOANER, Command.MINE):
        judged.outcomes = {
            n: o for n, o in judged.outcomes.items() if o.faults and o.faults[0].code != "OTHER"
        }
    if said.command in (
        Command.HELP,
        Command.UNDO,
        Command.NOT_ME,
        Command.WAIT,
        Command.MINE,
        Command.LOANER,
    ):
        questions = [q for q in questions if q.doubt is Doubt.NO_SUCH_STUDENT]
    if said.please and judged.outcomes:
        questions.append(Question(Doubt.PLEASE_ACT))
    settled = bool(judged.outcomes or said.command)
    if not settled and not questions:
        questions.append(Question(Doubt.UNCLEAR))
    return Reading(
        outcomes=judged.outcomes,
        command=said.command,
        minutes=said.minutes,
        questions=tuple(questions),
        emergency=danger is Alarm.EMERGENCY,
        aside=said.aside,
        pointed=frozenset(judged.pointed),
        because=tuple(judged.because),
    )
