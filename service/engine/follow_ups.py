"""Follow-ups: an answer to the question asked, a correction of what was just said, the round that was meant.

What a question of ours asked stands with its message: `asked` (doubts with the numbers asked about), `words` (the
received message that was asked about), `choices` (rounds), so that whatever is open is carried by it.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from service.core import follow_ups
from service.core.follow_ups import Choice, Reader
from service.core.mail import own_words
from service.core.reading import Doubt, Question, Reading
from service.engine import undoing
from service.engine.answering import Heard
from service.engine.context import Context, narrowed
from service.engine.desk import Moment
from service.store import inbox, outbox, rounds, statements
from service.store.tables import InboxRow, OutboxRow, RoundRow
from service.wording import letters as wording
from service.wording.names import room_words


@dataclass(frozen=True)
class Understood:
    """A reading with what it answers: the round that was meant, the question (its message's id) and the words that
    were asked about; `replaces` says that it stands in the place of what the person said before.
    """

    reading: Reading
    context: Context | None
    question: str | None = None
    words: str | None = None
    replaces: bool = False


def understand(m: Moment, row: InboxRow, context: Context | None, read: Reading, proven: bool) -> Understood:
    """What a message means after what was said and asked before; by itself, where it answers nothing of that."""
    plain = Understood(read, context)
    if context is None or context.stale or "reading" in row.body:
        return plain
    text, person = own_words(row.text)[0], str(row.person)
    if proven and follow_ups.is_correction(text) and (corrects := _correction(m, row, text, context)):
        return corrects
    answered = _answer(m, text, context.question, context, person)
    return answered or Understood(follow_ups.puts_off(text, read, _reader(m, context, person)), context)


def _reader(m: Moment, context: Context, person: str) -> Reader:
    return Reader(context.asked(m, m.district.people[person].language), m.book.words)


def _correction(m: Moment, row: InboxRow, text: str, context: Context) -> Understood | None:
    """What was said last, within the time for an undo, with one thing in it put right."""
    person = str(row.person)
    last = undoing.last_of(m, person, row.id)
    if last is None or m.now - last.received_at > m.district.settings.undo_within:
        return None
    reader = _reader(m, context, person)
    meant = follow_ups.corrected(text, own_words(last.text)[0], reader)
    about = {s.check_id for s in statements.of_message(m.tx, last.id)}
    if meant is None or not about <= {check.id for check in context.numbers.values()}:
        return None
    question = outbox.get(m.tx, last.body.get("answers", ""))
    again = _answer(m, meant, question, context, person)
    return replace(again or Understood(reader.read(meant), context), replaces=True)


def _answer(
    m: Moment, text: str, question: OutboxRow | None, context: Context, person: str
) -> Understood | None:
    """What a text means as an answer to a question of ours about earlier words, or as a correction of those."""
    if question is None:
        return None
    about = question.body["about"]
    asked_about = inbox.get(m.tx, about["words"])
    before = own_words(asked_about.text)[0] if asked_about else ""
    if about.get("choices"):
        return _round_meant(m, text, before, question, context, person)
    reader = _reader(m, context, person)
    meant = follow_ups.corrected(text, before, reader)
    open = tuple(Question(Doubt(doubt), tuple(numbers)) for doubt, numbers in about["asked"])
    reading = reader.read(meant) if meant else follow_ups.answered(text, open, before, reader)
    return Understood(reading, context, question.id, about["words"]) if reading else None


def _round_meant(
    m: Moment, text: str, before: str, question: OutboxRow, context: Context, person: str
) -> Understood | None:
    """The words before, said of the round that is named now."""
    held = [r for id in question.body["about"]["choices"] if (r := rounds.get(m.tx, id))]
    at = follow_ups.chosen(text, choices(m, held))
    if not at:
        return None
    meant = narrowed(m, context, person, [held[n] for n in at])
    reading = _reader(m, meant, person).read(before)
    return Understood(reading, meant, question.id, str(question.body["about"]["words"]))


def choices(m: Moment, held: Sequence[RoundRow]) -> list[Choice]:
    """Rounds as somebody can name them, numbered from 1."""
    return [
        Choice(str(n), m.wall(row.school, row.due, m.today(row.school)), _room(m, row)) for n, row in enumerate(held, 1)
    ]


def _room(m: Moment, row: RoundRow) -> str:
    rooms = {check.room for check in rounds.checks_of(m.tx, row.id)}
    return rooms.pop() if len(rooms) == 1 else m.school(row.school).name


def ask_which_round(m: Moment, context: Context, heard: Heard) -> None:
    """Ask which of several open rounds is meant, by what tells them apart (C19)."""
    ids = list(dict.fromkeys(check.round_id for check in context.numbers.values()))
    held = [row for id in ids if (row := rounds.get(m.tx, id))]
    named = tuple(wording.OpenRound(c.word, c.time, room_words(c.room)) for c in choices(m, held))
    heard.ask(wording.About.WHICH_ROUND, rounds=named)
    heard.about["choices"] = ids


def names_by_number(row: InboxRow, context: Context, reading: Reading) -> bool:
    """Whether a student was named by a number that each of several messages has given to somebody."""
    numbered_through = context.message is not None and context.question is None
    typed = {int(n) for n in re.findall(r"(?<!\d)\d{1,2}(?!\d)", own_words(row.text)[0])}
    return not numbered_through and bool(typed & set(reading.outcomes))


def kept(heard: Heard, row: InboxRow, understood: Understood) -> dict[str, object]:
    """What a question is stored with, so that its answer is understood."""
    asked = [[ask.about.value, [item.number for item in ask.items]] for ask in heard.asks if ask.about in _CARRIED]
    return {"asked": asked, "words": understood.words or row.id} if heard.asks else {}


_CARRIED = {wording.About(doubt.value) for doubt in Doubt} - {wording.About.UNPROVEN, wording.About.PLEASE_ACT}
"""Questions that words can answer."""
