"""The planned day as a page of plain text."""

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from textwrap import wrap

from service.core.days import NoSchool, SchoolDay
from service.core.district import Device, DeviceKind, District, School, Student
from service.core.outlook import MOST_MESSAGES, Load, RoundOutlook, SchoolOutlook
from service.core.unanswered import Happening, What
from service.core.zones import version, zone
from service.verbs.day_strip import strip

WIDTH = 100
REASONS = {
    "away": "is away",
    "off_hours": "is not at work then",
    "no_channel": "cannot be reached on any channel",
    "already_told": "has been told already",
    "pointless": "rests after an emergency",
}
ROLES = {"second": "second checker"}
KINDS = {
    DeviceKind.HEARING_AID: "hearing aid",
    DeviceKind.COCHLEAR_IMPLANT: "processor",
    DeviceKind.BONE_CONDUCTION: "bone-conduction processor",
    DeviceKind.REMOTE_MIC: "classroom microphone",
}


def page(
    district: District, on: date, schools: Sequence[SchoolOutlook], counted: Sequence[Load]
) -> Iterator[str]:
    """The lines of the whole page."""
    yield f"{district.name}: {on:%A} {on.day} {on:%B %Y}"
    yield f"Planned from the folder alone; notices of the day are not in it. Zone data {version()}."
    for each in schools:
        yield ""
        yield from _school(district, each)
    yield ""
    yield from _loads(district, counted)


def _school(district: District, each: SchoolOutlook) -> Iterator[str]:
    school, day = each.school, each.day
    yield f"{school.name} ({school.id})"
    yield "=" * len(f"{school.name} ({school.id})")
    if isinstance(day, NoSchool):
        yield f"No school: {day.reason}. Nobody is asked."
        return
    yield _headline(school, day)
    if each.settling_in:
        yield "First days of term: silence goes to the coordinator as one list, with no climb."
    yield ""
    yield from strip(district, each, WIDTH)
    for r in each.rounds:
        yield ""
        yield from _round(district, school, r)
    if not each.rounds:
        yield "Nobody is asked today."
    if each.left_out:
        yield ""
        yield "Not asked today:"
        for u in each.left_out:
            yield f"  {district.students[u.student].alias}, {u.routine}: {u.why.value}"


def _headline(school: School, day: SchoolDay) -> str:
    cycle = f", day {day.cycle_day}" if day.cycle_day else ""
    first, last = _wall(day.first, school), _wall(day.last, school)
    return f"{day.day_type}{cycle}. First bell {first}, last bell {last}. {_zone_line(school, day)}."


def _zone_line(school: School, day: SchoolDay) -> str:
    opens, closes = _offset(day.first, school), _offset(day.last, school)
    return f"{school.zone}, UTC{opens}" + (f", then UTC{closes}" if opens != closes else "")


def _round(district: District, school: School, each: RoundOutlook) -> Iterator[str]:
    planned = each.round
    due = f"{_wall(planned.due, school)} {_offset(planned.due, school)}"
    number = len(planned.checks)
    yield f"{due}  {_name(district, planned.checker)} is asked about {number if number > 1 else 'one'}:"
    for c in planned.checks:
        kind = f", {c.kind} check" if c.kind != "daily" else ""
        about = f"{c.number}  {c.alias}, room {c.room}: {_devices(district.students[c.student])}{kind}"
        yield from wrap(f"                {about}", WIDTH, subsequent_indent=" " * 19)
    later = [h for h in each.happenings if h.what is not What.ASKED]
    if not each.happenings:
        yield "              No chain for silence is chosen: nobody would hear of it."
        return
    everybody = tuple(c.number for c in planned.checks)
    yield "              If nobody answers:"
    end = [h for h in later if h.what is What.SUMMARY]
    for h in later:
        if h.what is not What.SUMMARY:
            yield from _line(school, planned.due, h, _happens(district, school, h, everybody))
    if end:
        names = _listed([_name(district, h.person) for h in end])
        what = f"the day ends: recorded as unanswered; {names} get one message with all of them"
        yield from _line(school, planned.due, end[0], what)


def _line(school: School, due: datetime, h: Happening, what: str) -> list[str]:
    at = _wall(h.at, school)
    if _offset(h.at, school) != _offset(due, school):
        at += f" {_offset(h.at, school)}"
    return wrap(f"                {at}  {what}", WIDTH, subsequent_indent=" " * 23)


def _happens(district: District, school: School, h: Happening, everybody: tuple[int, ...]) -> str:
    who = _name(district, h.person) + (f" ({ROLES.get(h.role, h.role)})" if h.role != h.person else "")
    about = "" if h.numbers == everybody else f" about {_listed([str(n) for n in h.numbers])}"
    until = f", has until {_wall(h.until, school)}" if h.until else ""
    match h.what:
        case What.REMINDED:
            return f"{_name(district, h.person)} is reminded{about}"
        case What.PASSED_OVER:
            return f"{who} is passed over{about}: {REASONS.get(h.reason, h.reason)}"
        case What.NOBODY_LEFT:
            return f"nobody is left to tell{about}; {_name(district, h.person)} (coordinator) hears it"
        case What.TOLD_AGAIN:
            return f"{who} is told again{about}"
        case _:
            return f"{who} is told{about}{until}"


def _loads(district: District, counted: Sequence[Load]) -> Iterator[str]:
    yield "Messages per person"
    yield "==================="
    if not counted:
        yield "Nobody gets any."
        return
    names = {c.person: _name(district, c.person) for c in counted}
    width = max(map(len, names.values()))
    yield f"{''.ljust(width)}  everybody answers  nobody answers"
    for c in counted:
        mark = f"  more than {MOST_MESSAGES}: too many to be read" if c.bad > MOST_MESSAGES else ""
        yield f"{names[c.person].ljust(width)}  {c.ordinary:>17}  {c.bad:>14}{mark}"
    yield "Answers to what somebody writes are not counted."
    if any(c.bad > MOST_MESSAGES for c in counted):
        yield (
            f"warning: on a bad morning somebody gets more than {MOST_MESSAGES} messages; give rounds one time, "
            "or put a second person into the chain before them."
        )


def _name(district: District, person: str) -> str:
    held = district.people.get(person)
    return held.name if held else person


def _devices(student: Student) -> str:
    words = [_device(d, student) for d in student.devices]
    return _listed(list(dict.fromkeys(words))) or "no device"


def _device(device: Device, student: Student) -> str:
    if device.side is None:
        return KINDS[device.kind]
    sides = {d.side for d in student.devices if d.kind is device.kind}
    return f"both {KINDS[device.kind]}s" if len(sides) == 2 else f"{device.side.value} {KINDS[device.kind]}"


def _listed(words: Sequence[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def _wall(at: datetime, school: School) -> str:
    return f"{at.astimezone(zone(school.zone)):%H:%M}"


def _offset(at: datetime, school: School) -> str:
    return at.astimezone(zone(school.zone)).isoformat()[-6:]
