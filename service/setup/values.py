"""Small written values: durations (`20 min`), times (`08:05`), dates (`2026-09-01`), spans and weekdays.

Every reader takes the text as written and raises `UnreadableError`; every writer gives the one form in which the
value is stored and exported, so that reading what was written changes nothing.
"""

import calendar
import re
from datetime import date, time, timedelta

from service.setup.problems import UnreadableError, suggest

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_LONG_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_DURATION = re.compile(r"(\d{1,5})\s*(s|sec|min|h|days?)(?:\s+(\d{1,2})\s*min)?", re.IGNORECASE)
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})")
_DATE = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")
_SPAN = re.compile(r"(?P<first>\S+)(?:\s*\.\.\s*|\s+(?:to|until|-|–)\s+)(?P<last>\S+)", re.IGNORECASE)
_TIMES = re.compile(r"(?P<start>[\d:]+)\s*(?:-|–|to|until)\s*(?P<end>[\d:]+)", re.IGNORECASE)
_UNITS = {"s": 1, "sec": 1, "min": 60, "h": 3600, "day": 86400, "days": 86400}


def read_duration(text: str) -> timedelta:
    """A length of time: `90 s`, `20 min`, `2 h`, `1 h 30 min`, `3 days`."""
    found = _DURATION.fullmatch(text)
    if found is None or (found[3] and found[2].lower() != "h"):
        raise UnreadableError(f"{text!r} is no length of time", "write it as 20 min, 2 h or 90 s")
    seconds = int(found[1]) * _UNITS[found[2].lower()]
    return timedelta(seconds=seconds, minutes=int(found[3] or 0))


def write_duration(value: timedelta) -> str:
    """The stored form: whole hours as `2 h`, whole minutes as `20 min`, else seconds."""
    seconds = int(value.total_seconds())
    if seconds and seconds % 3600 == 0:
        return f"{seconds // 3600} h"
    return f"{seconds // 60} min" if seconds % 60 == 0 else f"{seconds} s"


def read_time(text: str) -> time:
    """A wall-clock time in 24 hours, `08:05` or `8:05`."""
    found = _CLOCK.fullmatch(text)
    if found is None:
        raise UnreadableError(f"{text!r} is no time of day", "write hours and minutes as 08:05")
    hour, minute = int(found[1]), int(found[2])
    if hour == 24 and minute == 0:
        raise UnreadableError(
            "24:00 is no time of a school day", "write when the last bell rings, such as 15:00"
        )
    if hour > 23 or minute > 59:
        raise UnreadableError(
            f"{text!r} is no time of day", "hours run from 00 to 23 and minutes from 00 to 59"
        )
    return time(hour, minute)


def write_time(value: time) -> str:
    """The stored form, `08:05`."""
    return value.strftime("%H:%M")


def read_times(text: str) -> tuple[time, time | None]:
    """A start alone (`08:00`) or a start and an end (`08:15 - 09:00`)."""
    found = _TIMES.fullmatch(text)
    if found is None:
        return read_time(text), None
    start, end = read_time(found["start"]), read_time(found["end"])
    if end <= start:
        raise UnreadableError(
            f"{text!r} ends before it begins",
            "write the start, a dash and a later end, such as 08:15 - 09:00",
        )
    return start, end


def write_times(start: time, end: time | None) -> str:
    """The stored form, `08:15 - 09:00` or `08:00`."""
    return write_time(start) if end is None else f"{write_time(start)} - {write_time(end)}"


def read_date(text: str) -> date:
    """A date as `2026-09-01`."""
    found = _DATE.fullmatch(text)
    if found is None:
        raise UnreadableError(f"{text!r} is no date", "write year, month and day as 2026-09-01")
    year, month, day = int(found[1]), int(found[2]), int(found[3])
    if not 1 <= month <= 12:
        raise UnreadableError(
            f"{text} is no date: there is no month {month}", "write year-month-day, as 2026-09-01"
        )
    if year < 1:
        raise UnreadableError(
            f"{text} is no date: there is no year {year}", "write year-month-day, as 2026-09-01"
        )
    length = calendar.monthrange(year, month)[1]
    if not 1 <= day <= length:
        name = calendar.month_name[month]
        raise UnreadableError(
            f"{text} is no date", f"{name} {year} has {length} days: correct the day or the month"
        )
    return date(year, month, day)


def read_span(text: str) -> tuple[date, date]:
    """One date, or the first and last of a range with both included: `2026-11-25 to 2026-11-27`."""
    found = _SPAN.fullmatch(text)
    if found is None:
        day = read_date(text)
        return day, day
    first, last = read_date(found["first"]), read_date(found["last"])
    if last < first:
        raise UnreadableError(
            f"{text!r} ends before it begins", f"write the earlier date first: {last} to {first}"
        )
    return first, last


def write_span(first: date, last: date) -> str:
    """The stored form, `2026-11-25` or `2026-11-25 to 2026-11-27`."""
    return first.isoformat() if first == last else f"{first.isoformat()} to {last.isoformat()}"


def read_weekdays(text: str) -> tuple[int, ...]:
    """ISO weekdays of `mon`, `mon-fri` or `mon, wed`."""
    days: list[int] = []
    for part in text.split(","):
        ends = [_weekday(word.strip()) for word in re.split(r"[-–]", part)]
        if len(ends) > 2 or ends[0] > ends[-1]:
            raise UnreadableError(
                f"{part.strip()!r} is no run of weekdays", "write the first and the last, as mon-fri"
            )
        days.extend(range(ends[0], ends[-1] + 1))
    return tuple(days)


def _weekday(word: str) -> int:
    folded = word.casefold()
    for names in (WEEKDAYS, _LONG_DAYS):
        if folded in names:
            return names.index(folded) + 1
    raise UnreadableError(f"{word!r} is no weekday", suggest(word, WEEKDAYS, "weekday"))
