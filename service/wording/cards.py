"""What a printed card says: one for each student, one for a school's front office.

Everything comes from the configuration and the shipped words; nothing of it is about how a child hears. Page and PDF
are both made of this.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from service.core.devices import FaultCode, check_steps, fits
from service.core.district import (
    Chain,
    Contact,
    ContactKind,
    District,
    Person,
    Role,
    Routine,
    Severity,
    Student,
)
from service.core.forms import Made, shape_of
from service.core.supplies.items import Shelf
from service.languages import N_, each, gettext, phrase
from service.wording.names import device_words, listed, role_words, room_words
from service.wording.supplies import item_words

CAUTIONS = ("SORE", "UNWELL", "KNOCK")
"""What an adult must know before it happens; beside it stands the emergency."""

CAUSES = (
    (Severity.URGENT.value, N_("No sound, or it hurts")),
    (Severity.SAME_DAY.value, N_("Something else is wrong")),
)

SILENCE = (("silence", N_("Nobody has answered")), *CAUSES[:1])


@dataclass(frozen=True)
class Line:
    """One line of a card; `lead` is what the eye looks for, and may be empty."""

    lead: str
    text: str


@dataclass(frozen=True)
class Section:
    """A heading with its lines, in order where `numbered`."""

    heading: str
    lines: tuple[Line, ...]
    numbered: bool = False


@dataclass(frozen=True)
class Picture:
    """How a device to draw is made, and which of the child's it is."""

    shape: Made
    caption: str


@dataclass(frozen=True)
class Card:
    """One page to print: what stands above all, the pictures, the sections in order, and the emergency by itself."""

    title: str
    place: str
    pictures: tuple[Picture, ...]
    sections: tuple[Section, ...]
    emergency: Section
    foot: str


def student_card(district: District, codes: Mapping[str, FaultCode], student: Student, printed: date) -> Card:
    """The card of one student, in the language spoken."""
    return Card(
        title=student.alias,
        place=" · ".join([room_words(student.room), district.schools[student.school].name]),
        pictures=_pictures(student),
        sections=tuple(_of_student(district, codes, student)),
        emergency=_emergency(district, codes),
        foot=phrase(
            "Printed %(date)s. For the adults of this room: keep it where pupils do not read it. It says how to check, "
            "and diagnoses nothing.",
            date=printed.isoformat(),
        ),
    )


def office_card(district: District, codes: Mapping[str, FaultCode], school: str, printed: date) -> Card:
    """The card for a school's front office, in the language spoken. It names rooms and adults, no child."""
    return Card(
        title=phrase("Front office"),
        place=" · ".join([district.schools[school].name, district.name]),
        pictures=(),
        sections=tuple(_of_office(district, codes, school)),
        emergency=_emergency(district, codes),
        foot=phrase(
            "Printed %(date)s. For the adults of this office: keep it where visitors do not read it.",
            date=printed.isoformat(),
        ),
    )


def _of_student(district: District, codes: Mapping[str, FaultCode], student: Student) -> Iterator[Section]:
    yield Section(phrase("Each morning"), tuple(_steps(student)), numbered=True)
    yield Section(
        phrase("Lights and settings, as the audiologist says"),
        _plain(student.lights) or _one(phrase("Not written yet: ask the audiologist.")),
    )
    yield Section(
        phrase("What the family wants done first"),
        _plain(student.wishes) or _one(phrase("Not asked yet.")),
    )
    yield Section(phrase("Spares, and where they lie"), tuple(_spares(district, student)))
    yield Section(phrase("Whom to tell"), tuple(_tell(district, student, student.school, CAUSES)))
    yield Section(phrase("Take care"), tuple(_cautions(codes, student)))


def _of_office(district: District, codes: Mapping[str, FaultCode], school: str) -> Iterator[Section]:
    lines = (
        Line("", phrase("A room has not answered: call the room or send somebody, then answer the message.")),
        Line("", phrase("Say what you were told, not what you expect. If you are not sure, say so.")),
        Line("", phrase("A check is off (trip, closed room, child gone home): tell the coordinator, or the board.")),
        Line("", phrase("Do not change, mend or lend a device here; do not read a child’s alias aloud.")),
    )
    yield Section(phrase("When a message of this service comes"), lines, numbered=True)
    yield Section(phrase("Rooms, and who checks there"), tuple(_rooms(district, school)))
    yield Section(phrase("Whom it tells"), tuple(_tell(district, None, school, SILENCE)))
    yield Section(phrase("Take care"), tuple(_cautions(codes, None)))


def _steps(student: Student) -> Iterator[Line]:
    for step in check_steps("daily", student.devices):
        tool = phrase("With %(tool)s.", tool="; ".join(each(step.tool.split("; ")))) if step.tool else ""
        words = [*each(step.sentences), tool, gettext(step.without_tool or "")]
        yield Line(gettext(step.title), " ".join(filter(None, words)))


def _pictures(student: Student) -> tuple[Picture, ...]:
    shapes = dict.fromkeys(shape_of(device) for device in student.devices)
    return tuple(Picture(s, device_words(d for d in student.devices if shape_of(d) == s)) for s in shapes)


def _spares(district: District, student: Student) -> Iterable[Line]:
    held = [shelf for shelf in district.supplies.values() if student.id in shelf.students]
    return [_spare(shelf) for shelf in held] or _one(phrase("None on the list: ask the audiologist."))


def _spare(shelf: Shelf) -> Line:
    where = shelf.where or phrase("where it lies is not written yet")
    own = phrase("The family’s own, for this student alone.") if shelf.counted.place.owner else ""
    what = item_words(shelf.counted.item)
    return Line(what[:1].upper() + what[1:], f"{where}. {own}" if own else where)


def _tell(
    district: District, student: Student | None, school: str, causes: Sequence[tuple[str, str]]
) -> Iterator[Line]:
    for cause, words in causes:
        chain = district.chain_for(student, school, cause)
        people = _in_order(district, student, school, chain) if chain else phrase("nobody is chosen yet")
        yield Line(gettext(words), people)


def _in_order(district: District, student: Student | None, school: str, chain: Chain) -> str:
    named = (_contact(district, student, school, step.contact) for step in chain.steps)
    return " · ".join(f"{n}. {who}" for n, who in enumerate(named, 1))


def _contact(district: District, student: Student | None, school: str, contact: Contact) -> str:
    """Who it is: an adult of the district by name and role; a guardian and a role of the round by role alone."""
    if contact.kind in (ContactKind.CHECKER, ContactKind.SECOND):
        role = Role.CHECKER if contact.kind is ContactKind.CHECKER else Role.SECOND
        return _named(role, _of_round(district, student, role))
    if contact.kind is ContactKind.PERSON:
        person = district.people[str(contact.person)]
        here = (r.role for r in person.roles if person.has_role(r.role, school))
        return _named(next(here, None), [person])
    asked = contact.role
    return _named(asked, [] if asked in (None, Role.GUARDIAN) else district.holders(asked, school))


def _of_round(district: District, student: Student | None, role: Role) -> list[Person]:
    routines = student.routines if student else ()
    ids = dict.fromkeys(r.checker if role is Role.CHECKER else r.second for r in routines)
    return [district.people[id] for id in ids if id]


def _named(role: Role | None, people: Sequence[Person]) -> str:
    names = listed([person.name for person in people if not person.outside])
    if role is None:
        return names
    return f"{names} ({role_words(role)})" if names else role_words(role)


def _cautions(codes: Mapping[str, FaultCode], student: Student | None) -> Iterator[Line]:
    for code in (codes[name] for name in CAUTIONS):
        if student is None or fits(code, student.devices):
            lines = (*code.remedy, *code.never)
            said = code.said_of(lines, student.devices) if student else lines
            yield Line(gettext(code.label), " ".join(each(said)))


def _emergency(district: District, codes: Mapping[str, FaultCode]) -> Section:
    code, lines = codes["SWALLOWED"], district.emergency
    words = [*each(code.remedy), *each(code.never)]
    call = phrase("Call %(number)s now", number=lines.number) if lines else gettext(code.remedy[0])
    ways = []
    if lines:
        ways.append(phrase("Without a voice call: %(text)s.", text=lines.text))
        ways.append(f"{phrase('Poison line:')} {lines.poison}." if lines.poison else "")
    text = " ".join([*filter(None, ways), *words])
    return Section(gettext(code.label), (Line(call, text),))


def _rooms(district: District, school: str) -> Iterator[Line]:
    rooms: dict[str, list[Routine]] = {}
    for student in district.students_of[school]:
        rooms.setdefault(student.room, []).extend(student.routines)
    for room, routines in sorted(rooms.items()):
        checkers = dict.fromkeys(r.checker for r in routines)
        seconds = dict.fromkeys(r.second for r in routines if r.second)
        words = listed([district.people[id].name for id in checkers]) or phrase("nobody yet")
        others = listed([district.people[id].name for id in seconds if id not in checkers])
        if others:
            words = phrase("%(names)s; stands in: %(others)s", names=words, others=others)
        yield Line(room_words(room), words)


def _plain(texts: Iterable[str]) -> tuple[Line, ...]:
    return tuple(Line("", text) for text in texts)


def _one(text: str) -> tuple[Line, ...]:
    return (Line("", text),)
