"""Reading a reply: thumb-typed words in, what they settle and what must be asked out.

**The asymmetric rule.** A student is read as `working` (or `fixed`) only where the reply has explicit good
words for that student, or for all or the rest, and nothing stands beside them that could turn them:

1. in the same breath: no negation, no hedge, no question, no postponement, no past tense, no bare acknowledgement,
   no alias guessed from a wrong letter, no unknown word before the good one, and none after it that is one slip
   from trouble or stands right beside the news or a name;
2. anywhere, for a word that names nobody ("all ok"): no breath without a subject that doubts, asks, puts off
   or tells of a fault; no exception ("but", "except") that fits nobody; no fault of a student beside it
   unless a connective ("but", "rest") says that it speaks of the others;
3. for the student: no fault, absence or doubt elsewhere in the reply, except a fault that a remedy put right;
4. for a student with two devices: both are spoken for;
5. in the whole reply: no word, heard nowhere else, that is one slip from trouble or too short to tell; no "no"
   that answers nothing; no doubt in a remark; no "now" before the good word where no trouble was told.

Otherwise the reply is asked about. Bad news needs less: a hedge does not stop it, and one typing error is
forgiven towards it. An emergency needs least of all.

**What turns nothing.** Which words can turn good news is listed in every language, with their slips: negations,
hedges, limits, questions, later times, trouble, parts, the body. What is neither listed nor one slip from them is inert
after the news. A breath beside a clear result is chatter, and left out, where it speaks of everyday things (listed as
such, thousands of them, without a word of trouble), has nothing that may be of a device, a check or a student's state,
and gives every word of trouble a subject or an object of its own (`chatter`). Before breaths are cut, `habits` and
`stories` give words the role that their company gives them: what was taken back and said anew, who writes, what was
done about a fault. So a habit is read once, whatever its words; the words are data.
"""

import re
from itertools import pairwise

from service.core.mail import own_words
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
from service.core.replies.asides import set_aside
from service.core.replies.clauses import segments
from service.core.replies.conversation import Talk, talk, wants_time, words_behind
from service.core.replies.denials import deny
from service.core.replies.emergency import Alarm, alarm
from service.core.replies.habits import read_habits
from service.core.replies.item import Item
from service.core.replies.items import items
from service.core.replies.meaning import Meaning, meaning
from service.core.replies.numbers import settle_numbers
from service.core.replies.tokens import tokens
from service.core.replies.words import Words, default_words

__all__ = ["default_words", "read"]


def read(text: str, asked: Asked, words: Words) -> Reading:
    """What `text` says about the students of `asked`. Never raises, whatever the text."""
    own, cut = own_words(text)
    if not own.strip():
        return Reading()
    typed = tokens(_unsigned(own, words, asked))
    listed, shortened = items(typed, asked, words)
    found, counted = settle_numbers(listed, asked)
    read_habits(found, asked)
    set_aside(found)
    deny(found)
    _agreed(found)
    if cut or shortened:
        found.append(Item("hedge", text="(cut off)"))
    _speaker(found)
    if asked.audience is Audience.CONTACT:
        _at_home(found)
        _nod(found)
        _not_mine(found)
    danger = alarm(found, typed, words)
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
    if said.command:
        minutes = f" {said.minutes}" if said.minutes else ""
        judged.because.append(f"{said.command.value}{minutes}: {words_behind(said.command, found)}")
    return _reading(judged, said, danger)


def _unsigned(own: str, words: Words, asked: Asked) -> str:
    """`own` without the name it is signed with: after thanks, after a dash, or alone after an empty line, with the
    lines of title, room and telephone that follow it.
    """
    begin = max(0, len(own) - _LONGEST_SIGNED)
    signed = _SIGNED.search(own, begin)
    if signed is None:
        return own
    names = {name.casefold() for name in re.findall(r"[^\W\d_]+", signed["name"])}
    aliases = {part for s in asked.students for part in s.alias.casefold().split()}
    known = names & (words.known | aliases) - _TITLES
    return own if known or not names - _TITLES else own[: signed.start("signed")]


_LONGEST_SIGNED = 240
_TITLES = frozenset({"ms", "mrs", "mr", "miss", "dr", "mx", "ed", *"abcdeghjkmrs"})
_NAME = (
    r"(?P<name>(?:(?:Ms|Mrs|Mr|Miss|Dr|Mx)\.? )?[A-Z][a-z]*\.?(?: [A-Z][A-Za-z]*\.?){0,2}"
    r"(?:, ?[A-Z][.A-Za-z]{0,6})?)"
)
_SIGNED = re.compile(
    r"(?:(?P<_thanks>(?i:thanks|thank you|thx|cheers|best|regards|sincerely|warmly|gracias|merci|saludos)[,.! ]*\s+)|"
    r"(?:\n\s*|[.!] ?)(?=-)|\n[ \t]*(?=\n))(?P<signed>\s*-{0,2}\s*" + _NAME + r"\s*(?:\n[^\n]{0,60}){0,4}\s*)$"
)


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
            worn = {d.side for d in student.devices if d.side}
            named = judged.sides.get(student.number, set()) & worn
            sides = list(named or worn)
            fault = Fault("SWALLOWED", sides[0] if len(sides) == 1 else None)
            judged.outcomes[student.number] = Outcome(Result.FAULT, (fault,))
    judged.because.append("SWALLOWED: a cell or magnet where it can burn a child")


def _agreed(found: list[Item]) -> None:
    """Words that say "it works" and "agreed" alike ("ça marche") are only agreement where nothing else is said; so
    is a bare "ok" before one that the message was seen ("ok, got it").
    """
    said = [item for item in found if item.role not in ("hard", "soft", "filler", "thanks", "greeting", "farewell")]
    dealt = said and all(item.can("deal") or item.text in ("ok", "okay") for item in said) and said[-1].can("deal")
    bare = all(item.role == "ack" or (item.can("nod") and not item.text.startswith("all ")) for item in said)
    if dealt or (bare and len(said) > 1 and said[-1].role == "ack"):
        for item in said:
            item.role = "ack"


def _speaker(found: list[Item]) -> None:
    """"I am sick" is said of who writes, not of a student."""
    heavy = [item for item in found if not item.inside]
    for before, item in pairwise(heavy):
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
        named = named or any(_is_a_report(before) for before in found[:at])
        if item.role != "good" or not item.can("nod") or named:
            continue
        after = [other.role for other in found[at + 1 : at + 3] if other.role not in ("soft", "pronoun", "filler")]
        item.role = "filler" if after[:1] in (["fixed"], ["fixes"]) else "ack"


def _is_a_report(item: Item) -> bool:
    """Whether a contact tells what they did or found, so that a good word after it is a result."""
    told = item.sure and item.role in ("fixes", "fix", "faults", "parts", "both")
    return told or item.text in ("checked", "tested", "did check")


def _contact_result(judged: Meaning, said: Talk) -> Talk:
    """A contact's good news is the word "working" to the service as well."""
    good = any(o.result in (Result.WORKING, Result.FIXED) for o in judged.outcomes.values())
    if good and said.command is None:
        return Talk(Command.WORKING, aside=said.aside, please=said.please)
    return said


def _reading(judged: Meaning, said: Talk, danger: Alarm) -> Reading:
    questions = list(dict.fromkeys(judged.questions))
    if said.command is Command.NOT_ME:
        judged.outcomes = {
            n: o for n, o in judged.outcomes.items() if o.result is not Result.WORKING or n in judged.pointed
        }
    if said.command in (Command.LOANER, Command.MINE, Command.CANNOT):
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
        Command.CANNOT,
        Command.WHO,
    ):
        of_nobody = said.command not in (Command.NOT_ME, Command.CANNOT, Command.MINE)
        questions = [q for q in questions if of_nobody and q.doubt is Doubt.NO_SUCH_STUDENT]
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
