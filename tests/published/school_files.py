"""Reads files of real bell times and calendars into the values that the core works with.

The files lie in the folder named by BELLCHECK_SHARED (default: `shared` beside the repository), under `data`;
`data/SOURCES.md` there says where each is from. They carry no zone: `ZONES` adds it, from memory. What a file
cannot mean is left out here and handed back, so that a test can say so.
"""

import json
import os
import re
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest

from service.core.district import Bell, DayType, School, Span

REPOSITORY = Path(__file__).resolve().parents[2]
SHARED = Path(os.environ.get("BELLCHECK_SHARED", REPOSITORY.parent / "shared"))
ISO_DAYS = {"Mon": 1, "Tue": 2, "Wed": 3, "Thu": 4, "Fri": 5, "Sat": 6, "Sun": 7}

PACIFIC, CENTRAL, EASTERN = "America/Los_Angeles", "America/Chicago", "America/New_York"
ZONES = {
    "cupertino": PACIFIC, "eths": CENTRAL, "gunn": PACIFIC, "inglemoor-a": PACIFIC, "inglemoor-b": PACIFIC,
    "ira": "Europe/London", "klein": CENTRAL, "lahs": PACIFIC, "lsw": CENTRAL, "mvms": EASTERN, "nms-1": PACIFIC,
    "nms-2": PACIFIC, "nms-3": PACIFIC, "nms-4": PACIFIC, "westmont6": PACIFIC, "westmont7": PACIFIC,
    "westmont8": PACIFIC, "wghs": "Pacific/Auckland",
}  # fmt: skip

WINTER, SUMMER = date(2026, 12, 2), date(2027, 5, 5)
"""Two Wednesdays, half a year apart: the clocks of every zone with summer time have changed in between."""
OFFSETS = {
    PACIFIC: (-8, -7), CENTRAL: (-6, -5), EASTERN: (-5, -4), "Europe/London": (0, 1),
    "Pacific/Auckland": (13, 12), "Australia/Sydney": (11, 10),
}  # fmt: skip
"""Hours from UTC on those two days; from memory, and held against the published clock changes by a test."""


def data(name: str) -> Path:
    """The path of a data file; the calling test is skipped, by name, where it is absent."""
    path = SHARED / "data" / name
    if not path.exists():
        pytest.skip(f"{name} is not there: set BELLCHECK_SHARED to the folder that holds data/")
    return path


def utc(day: date, at: time, zone: str) -> datetime:
    """The instant of a wall-clock time on WINTER or SUMMER, without any zone data."""
    hours = OFFSETS[zone][0 if day == WINTER else 1]
    return datetime.combine(day, at, tzinfo=UTC) - timedelta(hours=hours)


def school_of(day_types: dict[str, DayType], zone: str, **changes: object) -> School:
    values: dict[str, object] = {
        "id": "from-a-file",
        "name": "From a file",
        "zone": zone,
        "terms": (Span(date(2015, 1, 1), date(2030, 12, 31)),),
        "closures": (),
        "day_types": day_types,
        "week": {},
    }
    return School(**{**values, **changes})  # type: ignore[arg-type]


def day_types_of(lines: list[str]) -> dict[str, DayType]:
    """Lines `* name`, then `H:MM label`: each label lasts until the next line; `Free` ends the day."""
    types: dict[str, DayType] = {}
    name, rows = "", []
    for line in [*lines, "* "]:
        if line.startswith("* "):
            if name:
                types[name] = DayType(name, _periods(rows))
            name, rows = line[2:].split("#")[0].strip(), []
        elif found := re.match(r"(\d{1,2}):(\d{2}) (.*)", line):
            rows.append((time(int(found[1]), int(found[2])), re.sub("[{}]", "", found[3]).strip()))
    return types


def _periods(rows: list[tuple[time, str]]) -> tuple[Bell, ...]:
    ends = [at for at, _ in rows[1:]]
    return tuple(
        Bell(label, at, end) for (at, label), end in zip(rows, ends, strict=False) if label != "Free"
    )


@dataclass
class Calendar:
    """A calendar file: the usual week, dated day types, closed spans, and what names no known schedule."""

    week: dict[int, str] = field(default_factory=dict)
    dates: dict[date, str] = field(default_factory=dict)
    closures: list[Span] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)


def calendar_of(lines: list[str], types: dict[str, DayType]) -> Calendar:
    """`Mon name` and `MM/DD/YYYY[-MM/DD/YYYY] name`; a schedule without bells is a day without school."""
    read = Calendar()
    for line in lines:
        words = line.split("#")[0].split()
        if len(words) != 2 or words[0] == "*":
            continue
        when, name = words
        if name not in types:
            read.refused.append(line.strip())
        elif when in ISO_DAYS:
            if types[name].bells:
                read.week[ISO_DAYS[when]] = name
        else:
            _add_dated(read, when, name, types)
    return read


def _add_dated(read: Calendar, when: str, name: str, types: dict[str, DayType]) -> None:
    first, last = (_american(part) for part in (when.split("-") * 2)[:2])
    if not types[name].bells:
        read.closures.append(Span(first, last, name))
        return
    for n in range((last - first).days + 1):
        read.dates[first + timedelta(days=n)] = name


def _american(text: str) -> date:
    month, day, year = (int(part) for part in text.split("/"))
    return date(year, month, day)


def plain_text_school(folder: str) -> tuple[School, Calendar]:
    """A school of the plain-text format, with its calendar."""
    bells = data(f"bells/bellplus/{folder}/schedules.bell").read_text(encoding="utf-8")
    types = day_types_of(bells.splitlines())
    calendar = calendar_of(
        data(f"bells/bellplus/{folder}/calendar.bell").read_text("utf-8").splitlines(), types
    )
    school = school_of(
        types,
        ZONES[folder],
        week=calendar.week,
        dates=calendar.dates,
        closures=tuple(calendar.closures),
    )
    return school, calendar


def json_day_types(name: str) -> dict[str, DayType]:
    """Periods whose names are numbers or text and whose end may be null."""
    (schedules,) = json.loads(data(name).read_text(encoding="utf-8")).values()
    return {
        key: DayType(key, tuple(_json_bell(row) for row in schedule["periods"]))
        for key, schedule in schedules.items()
    }


def _json_bell(row: dict[str, object]) -> Bell:
    end = row["end"]
    return Bell(
        str(row["name"]), time.fromisoformat(str(row["start"])), time.fromisoformat(str(end)) if end else None
    )


def minutes_day_types(name: str) -> dict[str, DayType]:
    """Weekdays with labels between `Start` and `End`, and pairs of minutes after midnight."""
    raw = json.loads(data(name).read_text(encoding="utf-8"))
    types = {}
    for weekday in ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday"):
        labels, edges = raw[weekday]["period"][1:-1], [time(m // 60, m % 60) for m in raw[weekday]["times"]]
        pairs = zip(edges[::2], edges[1::2], strict=True)
        types[weekday] = DayType(
            weekday, tuple(Bell(n, *pair) for n, pair in zip(labels, pairs, strict=True))
        )
    return types


def boundaries_day_types(name: str) -> tuple[dict[str, DayType], list[str]]:
    """`HH MM Start of X` and `HH MM End of X`; anything else rings once. Gives back the lines that name no time."""
    types: dict[str, DayType] = {}
    refused: list[str] = []
    current, rows = "", []
    for line in [*data(name).read_text(encoding="utf-8").splitlines(), "schedule "]:
        if line.startswith("schedule "):
            if current:
                types[current] = DayType(current, _between(rows))
            current, rows = line.removeprefix("schedule "), []
        elif current:
            hour, minute, label = line.split(" ", 2)
            if int(hour) > 23:
                refused.append(line)
            else:
                rows.append((time(int(hour), int(minute)), label))
    return types, refused


def _between(rows: list[tuple[time, str]]) -> tuple[Bell, ...]:
    ends = {label.removeprefix("End of "): at for at, label in rows if label.startswith("End of ")}
    begun = {label.removeprefix("Start of ") for _, label in rows if label.startswith("Start of ")}
    periods = []
    for at, label in rows:
        if label.startswith("Start of "):
            name = label.removeprefix("Start of ")
            periods.append(Bell(name, at, ends.get(name)))
        elif label.removeprefix("End of ") not in begun:
            periods.append(Bell(label, at))
    return tuple(periods)


def all_day_events(text: str) -> list[dict[str, str]]:
    """The VEVENTs of an iCalendar file as plain fields, without parameters; lines of no event are passed over."""
    events: list[dict[str, str]] = []
    inside = False
    for line in text.replace("\r\n", "\n").replace("\n ", "").splitlines():
        key, _, value = line.partition(":")
        if line == "BEGIN:VEVENT":
            events.append({})
            inside = True
        elif line == "END:VEVENT":
            inside = False
        elif inside:
            events[-1][key.split(";")[0]] = value
    return events
