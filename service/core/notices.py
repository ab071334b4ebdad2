"""What changes today: notices, how they are read from a line of text, and who is away because of them.

A notice holds for whole days. It replaces nothing that is configured; `service.core.days` and
`service.core.routines` take the notices known so far beside the configuration. A withdrawn notice counts as
if it had not been given.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum

from service.core.district import District, Span
from service.core.notice_parts import (
    UnclearError,
    length,
    nearest,
    person_called,
    student_called,
    take_dates,
    take_schools,
    time_of_day,
)
from service.core.zones import zone

LONGEST_TEXT = 300
"""Characters that a notice may have."""


class NoticeKind(StrEnum):
    """What a notice says."""

    CLOSED = "closed"
    DELAY = "delay"
    EARLY_END = "early_end"
    AWAY = "away"
    BACK = "back"
    SWAP = "swap"


@dataclass(frozen=True)
class Notice:
    """Something that changes the days from `first` to `last`, both included.

    `schools` are the schools it is for; empty: all of them. `by` is who gave it and `at` when (UTC).
    `delay` goes with DELAY, `ends` (school wall-clock) with EARLY_END; AWAY and BACK name a `person` or a
    `student`; SWAP exchanges `person` and `other`. `text` is what was written.
    """

    id: str
    kind: NoticeKind
    first: date
    last: date
    by: str
    at: datetime
    schools: tuple[str, ...] = ()
    delay: timedelta | None = None
    ends: time | None = None
    person: str | None = None
    student: str | None = None
    other: str | None = None
    withdrawn_at: datetime | None = None
    text: str = ""

    @property
    def subject(self) -> str | None:
        """The student or person that AWAY and BACK are about."""
        return self.student or self.person

    def holds(self, school: str | None, day: date) -> bool:
        """Whether the notice stands for `school` on `day`; `school` None asks for those that are for all."""
        meant = not self.schools or school in self.schools
        return meant and self.withdrawn_at is None and self.first <= day <= self.last


@dataclass(frozen=True)
class NoticeError:
    """Why a line could not be read as a notice, and what would be right."""

    wrong: str
    right: str


def latest(notices: Sequence[Notice], kind: NoticeKind, school: str, day: date) -> Notice | None:
    """The notice of `kind` that was given last among those standing for `school` on `day`."""
    fitting = [n for n in notices if n.kind is kind and n.holds(school, day)]
    return max(fitting, key=lambda n: (n.at, n.id), default=None)


def away(
    who: str, at: datetime, notices: Sequence[Notice], district: District, school: str | None = None
) -> bool:
    """Whether the person or student `who` is away on the day that `at` falls on where they are.

    `at` must be aware. `school` is where they would be needed: an absence given for some schools only counts
    there alone. Raises ValueError for a naive `at`.
    """
    if at.tzinfo is None:
        raise ValueError("an instant must say its offset from UTC")
    day = at.astimezone(zone(_zone_of(who, district, school))).date()
    return away_on(who, day, notices, district, school)


def away_on(
    who: str, day: date, notices: Sequence[Notice], district: District, school: str | None = None
) -> bool:
    """Whether `who` is away on `day`: by the spans of the configuration or by a notice.

    `back` ends, from its first day on, every absence it falls into that was known when it was given; an
    absence that begins later is not touched.
    """
    person = district.people.get(who)
    about = [n for n in notices if n.subject == who and n.withdrawn_at is None]
    backs = [n for n in about if n.kind is NoticeKind.BACK and _meant(n, school)]
    for span in person.away if person else ():
        if span.holds(day) and not any(_ends(b, span, day) for b in backs):
            return True
    for notice in about:
        if notice.kind is NoticeKind.AWAY and notice.holds(school, day):
            later = [b for b in backs if b.at >= notice.at]
            if not any(_ends(b, Span(notice.first, notice.last), day) for b in later):
                return True
    return False


def _meant(notice: Notice, school: str | None) -> bool:
    return not notice.schools or school in notice.schools


def _ends(back: Notice, absence: Span, day: date) -> bool:
    return absence.holds(back.first) and back.first <= day


def _zone_of(who: str, district: District, school: str | None) -> str:
    student = district.students.get(who)
    person = district.people.get(who)
    at_home = [s for role in person.roles for s in role.schools] if person else []
    named = school or (student.school if student else None)
    chosen = [named] if named else [*at_home, *district.schools]
    return district.schools[chosen[0]].zone


def read_notice(
    text: str, district: District, by: str, at: datetime, today: date, *, school: str | None = None
) -> Notice | NoticeError:
    """Read one line, such as `closed tomorrow at hollow-road` or `away l-teal until Friday`.

    `today` is the date where the notice is given. `school` is the school meant where the text names none;
    without it, the author's own schools, or the only school there is. A notice about people that names no
    school holds wherever they are needed.
    """
    try:
        return _read(text, district, by, at, today, school=school)
    except UnclearError as unclear:
        return NoticeError(unclear.wrong, unclear.right)


def _read(text: str, district: District, by: str, at: datetime, today: date, *, school: str | None) -> Notice:
    if len(text) > LONGEST_TEXT:
        raise UnclearError("the notice is too long", "one line, such as closed tomorrow at SCHOOL")
    # A question mark stays on its word: “closed?” is a question, not a notice.
    words = [word for raw in text.split() if (word := raw.strip(".,;!"))]
    schools, words = take_schools(words, district)
    span, words = take_dates(words, today)
    kind, rest = _kind(words)
    delay, ends, person, student, other = None, None, None, None, None
    if kind is NoticeKind.DELAY:
        delay = length(rest)
    elif kind is NoticeKind.EARLY_END:
        ends = time_of_day(rest)
    elif kind is NoticeKind.SWAP:
        person, other = _swapped(rest, district)
    elif kind is NoticeKind.CLOSED:
        _nothing_more(rest)
    else:
        person, student = _subject(kind, rest, district)
    if schools is None:
        about_people = kind in (NoticeKind.AWAY, NoticeKind.BACK, NoticeKind.SWAP)
        schools = () if about_people else _own_schools(district, by, school)
    elif len(schools) == len(district.schools):
        schools = ()
    key = hashlib.sha256(text.encode()).hexdigest()[:6]
    return Notice(
        id=f"nt-{at.astimezone(UTC):%Y%m%dT%H%M%SZ}-{by}-{key}",
        kind=kind,
        first=span.first,
        last=span.last,
        by=by,
        at=at.astimezone(UTC),
        schools=schools,
        delay=delay,
        ends=ends,
        person=person,
        student=student,
        other=other,
        text=text,
    )


def _kind(words: Sequence[str]) -> tuple[NoticeKind, list[str]]:
    said = [word.lower() for word in words]
    if said[:2] == ["early", "end"]:
        return NoticeKind.EARLY_END, list(words[2:])
    if said and said[0] in {kind.value for kind in NoticeKind} - {NoticeKind.EARLY_END.value}:
        return NoticeKind(said[0]), list(words[1:])
    known = ("closed", "delay", "early end", "away", "back", "swap")
    wrong = f"“{words[0]}” is not a notice" if words else "the notice says nothing"
    raise UnclearError(wrong, nearest(said[0] if said else "", known, "one of " + ", ".join(known)))


def _subject(kind: NoticeKind, words: Sequence[str], district: District) -> tuple[str | None, str | None]:
    if not words:
        raise UnclearError(f"it does not say who is {kind}", f"{kind} and the id of an adult or a student")
    found: list[tuple[str | None, str | None]] = []
    doubts: list[UnclearError] = []
    try:
        found.append((person_called(words, district), None))
    except UnclearError as unclear:
        doubts.append(unclear)
    try:
        found.append((None, student_called(words, district)))
    except UnclearError as unclear:
        doubts.append(unclear)
    if len(found) == 1:
        return found[0]
    if found:
        raise UnclearError(
            f"“{' '.join(words)}” is an adult and a student", "the id of the one that is meant"
        )
    raise next((d for d in doubts if "more than one" in d.wrong or d.right.startswith("perhaps")), doubts[0])


def _swapped(words: Sequence[str], district: District) -> tuple[str, str]:
    middle = [n for n, word in enumerate(words) if word.lower() == "for"]
    if len(middle) != 1:
        raise UnclearError("it does not say who swaps with whom", "swap A for B, with the ids of two adults")
    person, other = (
        person_called(words[: middle[0]], district),
        person_called(words[middle[0] + 1 :], district),
    )
    if person == other:
        raise UnclearError(f"{person} cannot swap with themselves", "the ids of two adults")
    return person, other


def _nothing_more(words: Sequence[str]) -> None:
    if words:
        raise UnclearError(
            f"“{' '.join(words)}” after “closed” is not understood",
            "closed, with a date and at SCHOOL where needed",
        )


def _own_schools(district: District, by: str, school: str | None) -> tuple[str, ...]:
    if school is not None:
        return (school,)
    author = district.people.get(by)
    own = {s for role in author.roles for s in role.schools} if author else set()
    everywhere = author is None or any(not role.schools for role in author.roles)
    if own and not everywhere:
        return tuple(s for s in district.schools if s in own)
    if len(district.schools) == 1:
        return tuple(district.schools)
    raise UnclearError("it does not say at which school", "add at SCHOOL, at GROUP or at all")
