"""Whether a school's calendar and bells can be what somebody meant."""

from collections.abc import Sequence
from importlib.resources import files
from itertools import pairwise

from service.core.district import Bell
from service.core.zones import UnknownZoneError, zone
from service.setup.build_school import build_bells, build_week, days_of, spans
from service.setup.calendar_check import judge_closures, judge_date, judge_terms
from service.setup.docs import View
from service.setup.kinds import Path, Reading
from service.setup.problems import suggest
from service.setup.values import read_date, read_span, write_time

_FIXED = ("Etc/", "EST", "MST", "HST", "GMT", "UTC", "UCT", "Zulu")


def judge_school(id: str, school: View, to: Reading) -> None:
    """Note what is wrong with one school."""
    path: Path = ("schools", id)
    _judge_zone(school, path, to)
    terms = spans(school, "terms")
    judge_terms(terms, (*path, "terms"), to)
    judge_closures(spans(school, "closures"), terms, (*path, "closures"), to)
    _judge_types_named(school, path, to)
    _judge_dates(school, path, to)
    _judge_rotation(school, path, to)
    for name, day in school.views("day types").items():
        _judge_day_type(day, (*path, "day types", name), to)


def _judge_zone(school: View, path: Path, to: Reading) -> None:
    name = school.maybe("zone")
    if name is None:
        return
    try:
        zone(name)
    except UnknownZoneError:
        known = files("tzdata").joinpath("zones").read_text("ascii").split()
        to.at((*path, "zone"), f"there is no time zone {name!r}", suggest(name, known, "zone"))
        return
    if name.startswith(_FIXED):
        wrong = f"{name} has the same offset all year"
        to.at(
            (*path, "zone"),
            wrong,
            "name a city, as America/Chicago, unless its clocks never change",
            "warning",
        )


def _judge_types_named(school: View, path: Path, to: Reading) -> None:
    types = school.view("day types").of
    week = school.view("week").of
    for weekday, name in week.items():
        _known_type(str(name), types, (*path, "week", weekday), to)
    if school.has("week") and not week and not school.items("dates") and not _written((*path, "week"), to):
        to.at((*path, "week"), "no weekday has school", "name the day type of each, as mon-fri: regular")
    for place, (_, name) in enumerate(school.pairs("dates")):
        _known_type(str(name), types, (*path, "dates", place), to)
    for label, name in school.view("rotation").view("day types").of.items():
        _known_type(str(name), types, (*path, "rotation", "day types", label), to)
    if school.has("delayed type"):
        _known_type(school.text("delayed type"), types, (*path, "delayed type"), to)


def _written(path: Path, to: Reading) -> bool:
    """Whether something stands under the key, even if it could not be read."""
    return any(place[: len(path)] == path and len(place) > len(path) for place in to.places)


def _known_type(name: str, types: object, path: Path, to: Reading) -> None:
    known = list(types) if isinstance(types, dict) else []
    if name not in known and known:
        to.at(path, f"there is no day type {name!r} at {path[1]}", suggest(name, known, "day type"))


def _judge_dates(school: View, path: Path, to: Reading) -> None:
    terms, closures = spans(school, "terms"), spans(school, "closures")
    week = build_week(school)
    seen: set[object] = set()
    for place, (written, name) in enumerate(school.pairs("dates")):
        where = (*path, "dates", place)
        first, last = read_span(written)
        judge_date(first, f"the day type {name}", terms, where, to)
        days = {day for day in days_of(first, last)[:400] if first == last or day.isoweekday() in week}
        if days & seen:
            to.at(where, f"{written} already has a day type", "let each date stand once")
        seen |= days
        shut = next((c for c in closures if any(c.holds(day) for day in days)), None)
        if shut is not None:
            wrong = f"{written} is {name}, but the school is closed then ({shut.name or shut.first})"
            to.at(where, wrong, "take out one of the two", "warning")


def _judge_rotation(school: View, path: Path, to: Reading) -> None:
    if not school.has("rotation"):
        return
    rotation, where = school.view("rotation"), (*path, "rotation")
    labels, terms = rotation.texts("labels"), spans(school, "terms")
    if len(set(labels)) < len(labels):
        to.at((*where, "labels"), "a label stands twice", "give each day of the rotation a label of its own")
    if rotation.has("start"):
        judge_date(
            read_date(rotation.text("start")), "the start of the rotation", terms, (*where, "start"), to
        )
    for place, (day, label) in enumerate(rotation.pairs("restarts")):
        judge_date(read_date(day), "the restart", terms, (*where, "restarts", place), to)
        _known_label(str(label), labels, (*where, "restarts", place), to)
        if rotation.has("start") and day < rotation.text("start"):
            wrong = f"the restart {day} comes before the rotation starts"
            to.at((*where, "restarts", place), wrong, "correct one of the dates", "warning")
    for label in rotation.view("day types").of:
        _known_label(label, labels, (*where, "day types", label), to)


def _known_label(label: str, labels: Sequence[str], path: Path, to: Reading) -> None:
    if labels and label not in labels:
        to.at(path, f"{label!r} is no label of the rotation", suggest(label, labels, "label"))


def _judge_day_type(day: View, path: Path, to: Reading) -> None:
    bells = build_bells(day.pairs("bells"))
    _judge_bells(bells, (*path, "bells"), to)
    for variant in day.view("variants").of:
        _judge_bells(build_bells(day.view("variants").pairs(variant)), (*path, "variants", variant), to)


def _judge_bells(bells: tuple[Bell, ...], path: Path, to: Reading) -> None:
    names: set[str] = set()
    for place, bell in enumerate(bells):
        if bell.name in names:
            to.at((*path, place), f"the bell {bell.name!r} stands twice", "give each bell a name of its own")
        names.add(bell.name)
    if len(bells) > 1 and bells[-1].start < bells[0].start:
        _out_of_order(bells[-1], bells[0], "the last bell", (*path, len(bells) - 1), to)
        bells = bells[:-1]
    for place, (one, two) in enumerate(pairwise(bells)):
        if two.start < one.start:
            _out_of_order(two, one, "the bell", (*path, place + 1), to)
        elif one.end is not None and two.start < one.end:
            wrong = f"{two.name} begins at {write_time(two.start)}, before {one.name} ends ({write_time(one.end)})"
            to.at((*path, place + 1), wrong, "correct one of them, or make a variant of it", "warning")


def _out_of_order(late: Bell, early: Bell, what: str, path: Path, to: Reading) -> None:
    wrong = f"{what} {late.name!r} ({write_time(late.start)}) comes before {early.name!r} ({write_time(early.start)})"
    afternoon = late.start.hour + 12
    if afternoon <= 18 and late.start.replace(hour=afternoon) >= early.start:
        right = f"did you mean {write_time(late.start.replace(hour=afternoon))}?"
    else:
        right = "write the bells in the order of the clock"
    to.at(path, wrong, right)
