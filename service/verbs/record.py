"""`bellcheck record`: who was asked when, who answered what word for word, what followed."""

from argparse import ArgumentParser, Namespace
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from typing import Any

from service.core.district import District
from service.core.zones import zone
from service.engine.clock import wall_now
from service.engine.desk import Moment
from service.engine.record import Line, record
from service.verbs.desks import desk_open
from service.verbs.folders import json_option
from service.verbs.speaking import DONE, CannotRun, Out, a_date
from service.wording.cells import csv_text

DAYS = timedelta(days=30)
"""How far back from today the record goes where nobody says."""

COLUMNS = (
    "date", "school", "student", "alias", "room", "routine", "due", "asked at", "asked", "result", "result at",
    "answered by", "faults", "words", "told", "what followed", "minutes to answer", "minutes to working",
)  # fmt: skip


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    parser.add_argument("--student", metavar="ID", help="one student; others' words are withheld")
    parser.add_argument("--school", metavar="ID", help="one school")
    parser.add_argument("--from", dest="first", type=a_date, metavar="D", help="as 2026-10-05")
    parser.add_argument("--to", dest="last", type=a_date, metavar="D", help="as 2026-10-09")
    parser.add_argument("--csv", action="store_true", help="print CSV that a spreadsheet opens safely")
    json_option(parser)


def run(args: Namespace, out: Out) -> int:
    """Print the record; nothing to show is not a problem."""
    if args.first and args.last and args.first > args.last:
        raise CannotRun(f"--from {args.first} is later than --to {args.last}; give the earlier date first")
    with desk_open(moved_too=True) as desk, desk.glance() as m:
        district = m.district
        here = [m.today(school) for school in district.schools] or [wall_now().date()]
        last = args.last or max([*here, *filter(None, [args.first])])
        lines = record(m, args.first or last - DAYS, last, args.school, args.student)
        if not (args.first or args.last):
            lines = tuple(line for line in lines if not _is_to_come(m, line))
    if args.json:
        out.json([_as_json(district, line) for line in lines])
    elif args.csv:
        out.raw(as_csv(district, lines))
    else:
        out.lines(_page(district, lines))
    return DONE


def _is_to_come(m: Moment, line: Line) -> bool:
    """Whether it is not yet that day at the school."""
    return line.school in m.district.schools and line.date > m.today(line.school)


def as_csv(district: District, lines: Sequence[Line]) -> str:
    """One row a check; no cell can be taken for a formula."""
    return csv_text(COLUMNS, [_cells(district, line) for line in lines])


def _cells(district: District, line: Line) -> list[str]:
    answers = line.answers
    return [
        line.date.isoformat(),
        line.school,
        line.student,
        line.alias,
        line.room,
        line.routine,
        _wall(district, line, line.due),
        _wall(district, line, line.asked_at),
        _name(district, line.checker),
        line.result,
        _wall(district, line, line.result_at),
        "; ".join(_name(district, a.person) for a in answers),
        "; ".join(f for a in answers for f in a.faults),
        "; ".join(f"{_wall(district, line, a.at)} {a.words}{_marks(a.late, a.taken_back)}" for a in answers),
        "; ".join(
            f"{_wall(district, line, m.at)} {m.purpose} to {_name(district, m.person)} ({m.role}): {m.outcome}"
            for m in line.messages
        ),
        "; ".join(line.followed),
        _number(line.minutes_to_answer),
        _number(line.minutes_to_working),
    ]


def _page(district: District, lines: Sequence[Line]) -> Iterator[str]:
    if not lines:
        yield "Nothing was planned in that time."
    for line in lines:
        due = _wall(district, line, line.due)
        yield f"{line.date} {due}  {line.alias} ({line.school}, room {line.room}), {line.routine}: {line.result}"
        for message in line.messages:
            who = f"{_name(district, message.person)} ({message.role})"
            at = _wall(district, line, message.at)
            yield f"    {at}  {message.purpose} to {who}: {message.outcome}"
        for answer in line.answers:
            what = " ".join([answer.result, *answer.faults])
            said = f"{_name(district, answer.person)}: {what}{_marks(answer.late, answer.taken_back)}"
            yield f"    {_wall(district, line, answer.at)}  {said}" + (
                f"  “{answer.words}”" if answer.words else ""
            )
        for followed in line.followed:
            yield f"           {followed}"
        if line.minutes_to_working is not None:
            yield f"           working again after {line.minutes_to_working} min"


def _as_json(district: District, line: Line) -> dict[str, Any]:
    return {
        "check": line.check,
        "date": line.date.isoformat(),
        "school": line.school,
        "student": line.student,
        "alias": line.alias,
        "room": line.room,
        "routine": line.routine,
        "due": _local(district, line, line.due),
        "asked_at": _local(district, line, line.asked_at),
        "asked": line.checker,
        "result": line.result,
        "result_at": _local(district, line, line.result_at),
        "by": line.by,
        "answers": [
            {
                "at": _local(district, line, a.at),
                "person": a.person,
                "result": a.result,
                "faults": list(a.faults),
                "words": a.words,
                "late": a.late,
                "taken_back": a.taken_back,
            }
            for a in line.answers
        ],
        "messages": [
            {
                "at": _local(district, line, m.at),
                "to": m.person,
                "role": m.role,
                "purpose": m.purpose,
                "outcome": m.outcome,
            }
            for m in line.messages
        ],
        "followed": list(line.followed),
        "minutes_to_answer": line.minutes_to_answer,
        "minutes_to_working": line.minutes_to_working,
    }


def _marks(late: bool, taken_back: bool) -> str:
    return (" (late)" if late else "") + (" (taken back)" if taken_back else "")


def _name(district: District, person: str) -> str:
    held = district.people.get(person)
    return held.name if held else person


def _number(value: int | None) -> str:
    return "" if value is None else str(value)


def _zoned(district: District, line: Line, at: datetime) -> datetime:
    school = district.schools.get(line.school)
    return at.astimezone(zone(school.zone)) if school else at


def _wall(district: District, line: Line, at: datetime | None) -> str:
    if at is None:
        return ""
    local = _zoned(district, line, at)
    return f"{local:%H:%M}" if local.date() == line.date else f"{local:%Y-%m-%d %H:%M}"


def _local(district: District, line: Line, at: datetime | None) -> str | None:
    return _zoned(district, line, at).isoformat() if at else None
