"""`bellcheck day CONFIG --date D`: the whole planned day, without a database."""

from argparse import ArgumentParser, Namespace
from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from service.core.days import NoSchool
from service.core.district import District, School
from service.core.outlook import MOST_MESSAGES, Load, Plan, RoundOutlook, SchoolOutlook, loads, outlook
from service.core.unanswered import Happening
from service.core.zones import version, zone
from service.engine.clock import wall_now
from service.engine.scenes import scene_of
from service.setup.problems import suggest
from service.verbs.day_page import page
from service.verbs.folders import folder_argument, json_option, usable
from service.verbs.speaking import DONE, CannotRun, Out, a_date


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    folder_argument(parser)
    parser.add_argument("--date", type=a_date, metavar="D", help="as 2026-10-05 (default: today)")
    parser.add_argument("--school", metavar="ID", help="one school only")
    json_option(parser)


def run(args: Namespace, out: Out) -> int:
    """Print the day."""
    district, _ = usable(args.folder)
    if args.school is not None and args.school not in district.schools:
        raise CannotRun(
            f"there is no school {args.school!r}; {suggest(args.school, district.schools, 'school')}"
        )
    on = args.date or _today(district, args.school)
    plan = Plan(district)
    schools = outlook(plan, on, lambda s, d: scene_of(plan, s, d, frozenset(), {}), args.school)
    counted = loads(district, schools)
    if args.json:
        out.json(_as_json(district, on, schools, counted))
    else:
        out.lines(page(district, on, schools, counted))
    return DONE


def _today(district: District, school: str | None) -> date:
    first = district.schools[school] if school else next(iter(district.schools.values()))
    return wall_now().astimezone(zone(first.zone)).date()


def _as_json(
    district: District, on: date, schools: Sequence[SchoolOutlook], counted: Sequence[Load]
) -> dict[str, Any]:
    return {
        "district": district.name,
        "date": on.isoformat(),
        "zone_data": version(),
        "schools": [_school(each) for each in schools],
        "messages": [{"person": c.person, "ordinary": c.ordinary, "bad": c.bad} for c in counted],
        "too_many": [c.person for c in counted if c.bad > MOST_MESSAGES],
    }


def _school(each: SchoolOutlook) -> dict[str, Any]:
    school, day = each.school, each.day
    head: dict[str, Any] = {"id": school.id, "name": school.name, "zone": school.zone}
    if isinstance(day, NoSchool):
        return {**head, "no_school": day.reason, "rounds": []}
    return {
        **head,
        "day_type": day.day_type,
        "cycle_day": day.cycle_day,
        "settling_in": each.settling_in,
        "first": _local(day.first, school),
        "last": _local(day.last, school),
        "bells": [
            {
                "name": b.name,
                "start": _local(b.start, school),
                "end": _local(b.end, school) if b.end else None,
            }
            for b in day.bells
        ],
        "rounds": [_round(r, school) for r in each.rounds],
        "left_out": [{"student": u.student, "routine": u.routine, "why": u.why.value} for u in each.left_out],
    }


def _round(each: RoundOutlook, school: School) -> dict[str, Any]:
    planned = each.round
    return {
        "id": planned.id,
        "due": _local(planned.due, school),
        "checker": planned.checker,
        "second": planned.second,
        "answer_by": _local(planned.answer_by, school),
        "checks": [
            {
                "number": c.number,
                "check": c.id,
                "student": c.student,
                "alias": c.alias,
                "room": c.room,
                "routine": c.routine,
                "kind": c.kind,
            }
            for c in planned.checks
        ],
        "unanswered": [_happening(h, school) for h in each.happenings],
    }


def _happening(h: Happening, school: School) -> dict[str, Any]:
    return {
        "at": _local(h.at, school),
        "what": h.what.value,
        "person": h.person,
        "role": h.role,
        "numbers": list(h.numbers),
        "until": _local(h.until, school) if h.until else None,
        "reason": h.reason or None,
    }


def _local(at: datetime, school: School) -> str:
    return at.astimezone(zone(school.zone)).isoformat()
