"""One line back to whoever wrote: what was recorded, what is still open, what has to be asked."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from service.core.chains import Purpose
from service.core.district import Role
from service.core.reading import Doubt
from service.engine import letters
from service.engine.context import Context, stream_for
from service.engine.desk import Moment
from service.engine.posting import ItemRef, Parcel
from service.engine.roles import home, main_role_at
from service.store.tables import CheckRow, InboxRow
from service.wording import compose
from service.wording import letters as wording


@dataclass
class Heard:
    """What came of one received message, gathered while it is applied."""

    recorded: list[CheckRow] = field(default_factory=list)
    asks: list[wording.Ask] = field(default_factory=list)
    notes: list[wording.Note] = field(default_factory=list)
    try_until: datetime | None = None
    caution: bool = False
    grave: list[str] = field(default_factory=list)
    remedies: bool = True
    help: bool = False
    chases: list[str] = field(default_factory=list)
    about: dict[str, object] = field(default_factory=dict)

    @property
    def taken_back(self) -> bool:
        """Whether an answer was undone, so that it is worth saying what is open again."""
        return any(note.said is wording.Said.UNDONE for note in self.notes)

    @property
    def silent(self) -> bool:
        """Nothing to say: an automatic or empty message."""
        return not (self.recorded or self.asks or self.notes or self.caution or self.help)

    def ask(self, about: wording.About, items: Sequence[wording.Item] = (), by: Role | None = None) -> None:
        """Ask one thing, once."""
        question = wording.Ask(about, tuple(items), by)
        if question not in self.asks:
            self.asks.append(question)

    def note(self, said: wording.Said, until: str = "", role: Role | None = None) -> None:
        """Say one thing, once."""
        sentence = wording.Note(said, until, role)
        if sentence not in self.notes:
            self.notes.append(sentence)


def answers(
    m: Moment, row: InboxRow, context: Context | None, heard: Heard, cause: Sequence[str]
) -> list[Parcel]:
    """What is answered. The caution text of an emergency goes by itself, first."""
    person = m.district.people.get(row.person or "")
    if person is None or heard.silent:
        return []
    school = context.school if context else home(m, person.id)
    role = main_role_at(m, person.id, school)
    to = letters.reader_of(m, person, role, via=row.channel)
    parcels = []
    if heard.caution:
        parcels.append(_parcel(m, row, context, heard, Purpose.CAUTION, _caution(m, to), role, cause))
        if not heard.asks and all(check.id in heard.grave for check in heard.recorded):
            return parcels
    letter, purpose = _letter(m, to, context, heard, school)
    return [*parcels, _parcel(m, row, context, heard, purpose, letter, role, cause)]


def _letter(
    m: Moment, to: wording.Reader, context: Context | None, heard: Heard, school: str
) -> tuple[wording.Letter, Purpose]:
    recorded = tuple(_item(m, context, check, heard) for check in heard.recorded)
    said_enough = bool(heard.notes) and not heard.recorded and not heard.taken_back
    still_open = () if said_enough else tuple(_item(m, context, c, heard) for c in _still_open(context))
    if heard.asks:
        return wording.Question(to, tuple(heard.asks), recorded, still_open), Purpose.QUESTION
    if heard.help:
        items = (
            tuple(_item(m, context, c, heard) for _, c in sorted(context.numbers.items())) if context else ()
        )
        checker = context is None or context.audience == "checker"
        return wording.Help(to, items, checker), Purpose.ANSWER
    until = m.wall(school, heard.try_until, m.today(school)) if heard.try_until else ""
    return wording.Answer(to, recorded, still_open, tuple(heard.notes), until), Purpose.ANSWER


def _item(m: Moment, context: Context | None, check: CheckRow, heard: Heard) -> wording.Item:
    numbers = {c.id: n for n, c in context.numbers.items()} if context else {}
    remedy = heard.remedies and check in heard.recorded and check.result == "fault"
    return letters.item(m, check, numbers.get(check.id, check.number), remedy=remedy)


def _still_open(context: Context | None) -> list[CheckRow]:
    held = context.numbers.values() if context else ()
    return [check for check in held if check.state != "closed"]


def _caution(m: Moment, to: wording.Reader) -> wording.Letter:
    lines = m.district.emergency
    code = m.book.codes["SWALLOWED"]
    return wording.Caution(
        to,
        lines.number if lines else "",
        lines.text if lines else "",
        code.remedy,
        code.never,
        (lines.poison or "") if lines else "",
    )


def _parcel(
    m: Moment,
    row: InboxRow,
    context: Context | None,
    heard: Heard,
    purpose: Purpose,
    letter: wording.Letter,
    role: Role,
    cause: Sequence[str],
) -> Parcel:
    person = m.district.people[row.person or ""]
    return Parcel(
        key=f"{purpose.value}/{row.id}/{person.id}",
        person=person.id,
        role=role.value,
        purpose=purpose,
        written=compose(letter, person.language),
        items=_refs(context),
        chases=tuple(dict.fromkeys(heard.chases)),
        in_reply_to=row.external_id,
        via=row.channel,
        cause=tuple(cause),
        about=dict(heard.about),
        stream=stream_for(m, context),
    )


def _refs(context: Context | None) -> tuple[ItemRef, ...]:
    if context is None:
        return ()
    if context.message is not None and context.audience == "contact":
        return context.items
    return tuple(ItemRef(n, c.id, None, c.student, c.round_id) for n, c in sorted(context.numbers.items()))


def doubts(m: Moment, context: Context, asked: Iterable[tuple[Doubt, Sequence[int]]], heard: Heard) -> None:
    """Turn what the reader could not settle into questions, one for each kind of doubt."""
    held: dict[Doubt, list[int]] = {}
    for doubt, numbers in asked:
        held.setdefault(doubt, []).extend(numbers)
    for doubt, numbers in held.items():
        checks = [context.numbers[n] for n in dict.fromkeys(numbers) if n in context.numbers]
        heard.ask(wording.About(doubt.value), [_item(m, context, c, heard) for c in checks])
