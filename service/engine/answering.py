"""One line back to whoever wrote: what was recorded, what is still open, what has to be asked."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import StrEnum

from service.core.chains import Purpose, Why
from service.core.district import DeviceKind, Role, Side
from service.engine import chaser, letters
from service.engine.context import Context, stream_for
from service.engine.desk import Moment
from service.engine.loading import load
from service.engine.posting import ItemRef, Parcel
from service.engine.roles import home, main_role_at
from service.languages import each, phrase, speaking
from service.store.tables import CheckRow, InboxRow
from service.wording import Written, compose
from service.wording import letters as wording

NO_PUZZLE = frozenset({wording.About.LATER, wording.About.CONFIRM_FOUND, wording.About.CONFIRM_HELP})


class Did(StrEnum):
    """What a message sets in motion without a statement about a check."""

    HELD = "taken in hand, or put off"
    LOANER = "loaner"
    LATER = "asked at a later bell"
    SAID_WORKING = "said to be working"
    PASSED_ON = "passed on"


@dataclass
class Heard:
    """What came of one received message, gathered while it is applied. `did` is what it set in motion beyond what was
    recorded, so that an undo finds it; `earlier` says that it answered an earlier day's message; `misread` is the
    first of several in a row that were not understood.
    """

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
    ahead: list[wording.Ahead] = field(default_factory=list)
    did: Did | None = None
    earlier: bool = False
    misread: str | None = None

    @property
    def puzzled(self) -> bool:
        """Whether something was not understood, so that it is asked back. An offer and a confirmation are no puzzle."""
        return any(ask.about not in NO_PUZZLE for ask in self.asks)

    @property
    def taken_back(self) -> bool:
        """Whether an answer was undone, so that it is worth saying what is open again."""
        return any(note.said is wording.Said.UNDONE for note in self.notes)

    @property
    def silent(self) -> bool:
        """Nothing to say: an automatic or empty message."""
        said = self.recorded or self.asks or self.notes or self.ahead
        return not (said or self.caution or self.help)

    def ask(
        self,
        about: wording.About,
        items: Sequence[wording.Item] = (),
        by: Role | None = None,
        again: str = "",
        next: wording.Next | None = None,
        rounds: Sequence[wording.OpenRound] = (),
        number: int | None = None,
    ) -> None:
        """Ask one thing, once."""
        question = wording.Ask(about, tuple(items), by, again, next, tuple(rounds), number)
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
    with speaking(person.language):
        return _in_words(m, row, context, heard, to, school, cause)


def _in_words(
    m: Moment,
    row: InboxRow,
    context: Context | None,
    heard: Heard,
    to: wording.Reader,
    school: str,
    cause: Sequence[str],
) -> list[Parcel]:
    role = to.role
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
    said_enough = bool(heard.notes or heard.ahead) and not heard.recorded and not heard.taken_back
    still_open = () if said_enough else tuple(_item(m, context, c, heard) for c in _still_open(context))
    if heard.asks:
        return wording.Question(to, tuple(heard.asks), recorded, still_open), Purpose.QUESTION
    if heard.help:
        items = (
            tuple(_item(m, context, c, heard) for _, c in sorted(context.numbers.items())) if context else ()
        )
        checker = context is None or context.audience == "checker"
        return wording.Help(to, items, checker, _like(m, context, checker=checker)), Purpose.ANSWER
    until = m.wall(school, heard.try_until, m.today(school)) if heard.try_until else ""
    after = _after(m, context) if recorded and still_open else None
    notes, ahead = tuple(heard.notes), tuple(heard.ahead)
    return wording.Answer(to, recorded, still_open, notes, until, after, ahead, heard.earlier), Purpose.ANSWER


def _like(m: Moment, context: Context | None, *, checker: bool) -> tuple[str, ...]:
    """Answers that could be given to this very message, with its numbers and what its devices may have."""
    numbers = sorted(context.numbers) if context else [1, 2, 3]
    middle = numbers[len(numbers) // 2]
    first, at, last = (f"{n} " if len(numbers) > 1 else "" for n in (numbers[0], middle, numbers[-1]))
    if not checker:
        return phrase('"%(n)sworking"', n=last), phrase('"%(n)sloaner"', n=last)
    broken = _trouble(m, context.numbers[middle] if context else None, at)
    good = (phrase('"%(n)sok"', n=first),) if len(numbers) > 1 else ()
    return *good, broken, phrase('"%(n)sfixed"', n=at), phrase('"%(n)saway"', n=last)


def _trouble(m: Moment, check: CheckRow | None, at: str) -> str:
    """A fault that the student's devices can have, with a side where they have two."""
    student = m.district.students.get(check.student) if check else None
    devices = student.devices if student else ()
    implants = [d for d in devices if d.kind is DeviceKind.COCHLEAR_IMPLANT]
    if len({d.side for d in implants or devices} & {Side.LEFT, Side.RIGHT}) > 1:
        return phrase('"%(n)sleft cable"', n=at) if implants else phrase('"%(n)sleft battery"', n=at)
    return phrase('"%(n)scable"', n=at) if implants else phrase('"%(n)sbattery"', n=at)


def _after(m: Moment, context: Context | None) -> wording.Next | None:
    """Who is told first of what is still open, and when."""
    rows = [row for check in _still_open(context) for row in chaser.open_for(m, check.id, Why.SILENCE)]
    ahead = [after for row in rows if (after := letters.next_of(m, load(row)))]
    return min(ahead, key=lambda after: after.at, default=None)


def _item(m: Moment, context: Context | None, check: CheckRow, heard: Heard) -> wording.Item:
    numbers = {c.id: n for n, c in context.numbers.items()} if context else {}
    remedy = heard.remedies and check in heard.recorded and check.result == "fault"
    return letters.item(m, check, numbers.get(check.id, check.number), remedy=remedy)


def _still_open(context: Context | None) -> list[CheckRow]:
    held = context.numbers.values() if context else ()
    return [check for check in held if check.state != "closed"]


def caution_while_held(m: Moment, row: InboxRow, context: Context | None) -> Parcel:
    """The caution text to who reported an emergency while the service is held: they have to tell everybody."""
    person = m.district.people[row.person or ""]
    school = context.school if context else home(m, person.id)
    to = letters.reader_of(m, person, main_role_at(m, person.id, school), via=row.channel)
    with speaking(person.language):
        letter = _caution(m, to, held=True)
        parcel = _parcel(m, row, context, Heard(), Purpose.CAUTION, letter, to.role, [f"rg-{row.id}"])
    # Of its own key: once the service goes on, the words are heard as ever, and answered as ever.
    return replace(parcel, key=f"held/{parcel.key}")


def _caution(m: Moment, to: wording.Reader, *, held: bool = False) -> wording.Letter:
    lines = m.district.emergency
    code = m.book.codes["SWALLOWED"]
    return wording.Caution(
        to,
        lines.number if lines else "",
        lines.text if lines else "",
        each(code.remedy),
        each(code.never),
        (lines.poison or "") if lines else "",
        held,
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
        written=_threaded(m, row, context, compose(letter, person.language)),
        items=_refs(context),
        chases=tuple(dict.fromkeys(heard.chases)),
        in_reply_to=row.external_id,
        via=row.channel,
        cause=tuple(cause),
        about=dict(heard.about),
        stream=stream_for(m, context),
    )


def _threaded(m: Moment, row: InboxRow, context: Context | None, written: Written) -> Written:
    """By mail an answer bears the subject of what it belongs to: mail programs part threads by it."""
    setup = m.district.channels.get(row.channel)
    message = context.message if context else None
    if setup is None or setup.kind != "email" or message is None:
        return written
    return replace(written, subject=f"Re: {message.subject.removeprefix('Re: ')}")


def _refs(context: Context | None) -> tuple[ItemRef, ...]:
    if context is None:
        return ()
    if context.message is not None and context.audience == "contact":
        return context.items
    return tuple(ItemRef(n, c.id, None, c.student, c.round_id) for n, c in sorted(context.numbers.items()))
