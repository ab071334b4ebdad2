"""The parts a notice is written in: dates, schools, people, lengths and times of day.

Each `take_…` function is given the words of the notice, takes out those it understands, and gives back their
meaning with the words that are left. What cannot be understood raises `UnclearError`.
"""

import re
from collections.abc import Iterable, Sequence
from datetime import date, time, timedelta
from difflib import get_close_matches

from service.core.district import District, Span

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
FARTHEST = timedelta(days=366)
"""A date further off than a school year is a slip of the pen in the year."""
LONGEST_DELAY = timedelta(hours=8)
EARLIEST_END = time(6)
"""An hour before six is an afternoon hour written without its twelve: `1:30` for 13:30."""

_DATE = re.compile(r"\d{4}-\d{1,2}-\d{1,2}")
_RANGE = re.compile(r"(\S+?)\.\.(\S+)")
_LENGTH = re.compile(r"(?:(\d+)\s*h(?:ours?|rs?)?)?\s*(?:(\d+)\s*m(?:in(?:ute)?s?)?)?")
_TIME = re.compile(r"(\d{1,2}):(\d{2})")
_STARTS = {"on", "from"}
_ENDS = {"until", "till", "through"}
_DATE_HELP = "a date like 2026-12-01, a range like 2026-12-01..2026-12-03, today, tomorrow or a weekday"


class UnclearError(Exception):
    """A notice could not be understood: what is wrong, and what would be right."""

    def __init__(self, wrong: str, right: str) -> None:
        super().__init__(wrong)
        self.wrong = wrong
        self.right = right


def nearest(word: str, known: Iterable[str], otherwise: str) -> str:
    """A hint naming what comes closest to `word` among `known`, or else `otherwise`."""
    close = get_close_matches(word, sorted(known), n=1, cutoff=0.75)
    return f"perhaps {close[0]}" if close else otherwise


def take_dates(words: Sequence[str], today: date) -> tuple[Span, list[str]]:
    """The dates a notice is for (today where it names none). A weekday is the next one, today included.

    `until DAY` includes that day. Raises `UnclearError` for a date that does not exist, is past or is over a
    year off.
    """
    first: date | None = None
    last: date | None = None
    rest: list[str] = []
    position = 0
    while position < len(words):
        word = words[position].lower()
        marker = word if word in _STARTS | _ENDS and position + 1 < len(words) else None
        named = _span(words[position + 1] if marker else words[position], today)
        if named is None:
            if marker:
                raise UnclearError(f"“{words[position + 1]}” after “{word}” is not a date", _DATE_HELP)
            rest.append(words[position])
        elif marker in _ENDS:
            last = _only_once(last, named.last)
        else:
            first = _only_once(first, named.first)
            last = named.last if named.last != named.first else last
        position += 2 if marker else 1
    begins = first or today
    return _sensible(begins, last or begins, today), rest


def _only_once(before: date | None, found: date) -> date:
    if before is not None:
        raise UnclearError(
            "there is more than one date", "a range like 2026-12-01..2026-12-03, or from DAY until DAY"
        )
    return found


def _span(word: str, today: date) -> Span | None:
    if split := _RANGE.fullmatch(word):
        ends = [_day(part, today) for part in split.groups()]
        if ends[0] is None or ends[1] is None:
            raise UnclearError(f"“{word}” is not a range of dates", _DATE_HELP)
        return Span(ends[0], ends[1])
    day = _day(word, today)
    return Span(day, day) if day else None


def _day(word: str, today: date) -> date | None:
    lower = word.lower()
    if lower == "today":
        return today
    if lower == "tomorrow":
        return today + timedelta(days=1)
    if lower in WEEKDAYS:
        return today + timedelta(days=(WEEKDAYS.index(lower) - today.weekday()) % 7)
    if not _DATE.fullmatch(word):
        return None
    try:
        return date(*(int(part) for part in word.split("-")))
    except ValueError:
        raise UnclearError(f"there is no day {word}", _DATE_HELP) from None


def _sensible(first: date, last: date, today: date) -> Span:
    if last < first:
        raise UnclearError(f"{last} comes before {first}", "the earlier date first")
    if first < today:
        raise UnclearError(f"{first} is past", f"a date from today, {today}, on")
    if last - today > FARTHEST:
        raise UnclearError(
            f"{last} is more than a year off", "check the year; long plans belong in the configuration"
        )
    return Span(first, last)


def take_schools(words: Sequence[str], district: District) -> tuple[tuple[str, ...] | None, list[str]]:
    """The schools after `at`: one, a group's, or `all`, in the order of the configuration; None where nothing
    is said. A time of day after `at` is left alone. Raises `UnclearError` for a name nobody has.
    """
    for position, word in enumerate(words[:-1]):
        if word.lower() == "at" and not _TIME.fullmatch(words[position + 1]):
            break
    else:
        return None, list(words)
    places = _places(district)
    for end in range(len(words), position + 1, -1):
        name = " ".join(words[position + 1 : end]).lower()
        if name in places:
            return places[name], [*words[:position], *words[end:]]
    named = words[position + 1]
    raise UnclearError(
        f"no school or group is called “{named}”",
        nearest(named.lower(), places, "the id of a school, a group, or all"),
    )


def _places(district: District) -> dict[str, tuple[str, ...]]:
    groups: dict[str, tuple[str, ...]] = {}
    for school in district.schools.values():
        for group in school.groups:
            groups[group.lower()] = (*groups.get(group.lower(), ()), school.id)
    names = {school.name.lower(): (school.id,) for school in district.schools.values()}
    ids = {school.id.lower(): (school.id,) for school in district.schools.values()}
    return {"all": tuple(district.schools)} | groups | names | ids


def person_called(words: Sequence[str], district: District) -> str:
    """The id of the adult that `words` name, by id or by full name. Raises `UnclearError`."""
    return _only_one(words, {p.id: p.name for p in district.people.values()}, "adult")


def student_called(words: Sequence[str], district: District) -> str:
    """The id of the student that `words` name, by id or by alias. Raises `UnclearError`."""
    return _only_one(words, {s.id: s.alias for s in district.students.values()}, "student")


def _only_one(words: Sequence[str], names: dict[str, str], what: str) -> str:
    said = " ".join(words).lower()
    by_id = [key for key in names if key.lower() == said]
    found = by_id or sorted(key for key, name in names.items() if name.lower() == said)
    if len(found) == 1:
        return found[0]
    if found:
        raise UnclearError(f"“{said}” fits more than one {what}", "one of the ids " + ", ".join(found))
    raise UnclearError(
        f"no {what} is called “{said}”", nearest(said, [*names, *names.values()], f"the id of one {what}")
    )


def length(words: Sequence[str]) -> timedelta:
    """A length such as `2 h`, `90 min`, `1 h 30 min`. Raises `UnclearError` for none and for over 8 hours."""
    said = " ".join(words).lower()
    found = _LENGTH.fullmatch(said)
    if not said or found is None:
        raise UnclearError(
            f"“{said}” is not a length of time" if said else "no length is given",
            "delay 2 h, or delay 90 min",
        )
    hours, minutes = (int(part[:4]) if part else 0 for part in found.groups())
    value = timedelta(hours=hours, minutes=minutes)
    if not timedelta() < value <= LONGEST_DELAY:
        raise UnclearError(
            f"a delay of {said} is not possible",
            "more than 0 min, at most 8 h; a day without school is `closed`",
        )
    return value


def time_of_day(words: Sequence[str]) -> time:
    """A wall-clock time such as `11:30`. Raises `UnclearError` for anything else and for hours before six."""
    said = " ".join(words).lower().removeprefix("at ")
    found = _TIME.fullmatch(said)
    right = "a time of day on the 24-hour clock, as in early end 13:30"
    if not found:
        raise UnclearError(f"“{said}” is not a time of day" if said else "no time is given", right)
    hour, minute = int(found[1]), int(found[2])
    if hour > 23 or minute > 59:
        raise UnclearError(f"there is no time {said}", right)
    if time(hour, minute) < EARLIEST_END:
        raise UnclearError(f"{said} is in the night", right)
    return time(hour, minute)
