"""`bellcheck report`: how the checks went, with limits, for a school, a district or a term."""

from argparse import ArgumentParser, Namespace
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from pathlib import Path

from service.core.district import District
from service.core.measures.hiding import AT_LEAST, TOTAL
from service.core.measures.report import Group, report
from service.core.measures.steps import Step, steps
from service.engine.desk import Moment
from service.engine.measures import Counted, as_fault, counted
from service.languages import FALLBACK, offered
from service.verbs.desks import desk_open
from service.verbs.folders import json_option
from service.verbs.report_sheets import sheets
from service.verbs.speaking import DONE, CannotRun, Out, a_date
from service.wording.measures import explained, value
from service.wording.report_page import Report, page

DAYS = timedelta(days=30)
"""How far back the report goes where no term holds its last day."""


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    parser.add_argument("--school", metavar="ID", help="one school")
    parser.add_argument("--student", metavar="ID", help="one student; for staff with a duty to them")
    parser.add_argument("--from", dest="first", type=a_date, metavar="D", help="default: the term's first day")
    parser.add_argument("--to", dest="last", type=a_date, metavar="D", help="default: today")
    parser.add_argument("--outside", action="store_true", help="keep back small numbers: it leaves the district")
    parser.add_argument("--at-least", type=int, default=AT_LEAST, metavar="N", help="with --outside; default 10")
    parser.add_argument("--html", type=Path, metavar="FILE", help="write a page")
    parser.add_argument("--csv", type=Path, metavar="FOLDER", help="write sheets and what their columns mean")
    parser.add_argument("--language", default=FALLBACK, choices=sorted(offered()), help="of the page")
    json_option(parser)


@dataclass(frozen=True)
class _Found:
    """What a report is made of."""

    district: District
    first: date
    last: date
    held: Counted
    groups: tuple[Group, ...]
    steps: tuple[Step, ...]


def run(args: Namespace, out: Out) -> int:
    """Print the report, or write it where asked; nothing to show is not a problem."""
    if args.first and args.last and args.first > args.last:
        raise CannotRun(f"--from {args.first} is later than --to {args.last}; give the earlier date first")
    if args.outside and args.student:
        raise CannotRun("--outside with --student: one student's figures do not leave the district; leave one out")
    if args.at_least < 1:
        raise CannotRun(f"--at-least {args.at_least}: nothing is kept back below 1; give 1 or more, usually 10")
    with desk_open(moved_too=True) as desk, desk.glance() as m:
        found = _found(m, args)
    if args.html:
        _write(args.html, page(_as_report(found, args), args.language), out)
    if args.csv:
        faults = () if args.outside else found.held.faults
        for name, text in sheets(found.groups, found.steps, faults).items():
            _write(args.csv / name, text, out)
    if args.json:
        out.json([_as_json(group) for group in found.groups])
    elif not (args.html or args.csv):
        out.lines(_lines(found))
    return DONE


def _found(m: Moment, args: Namespace) -> _Found:
    schools = _schools(m.district, args)
    last = args.last or max((m.today(school) for school in schools), default=m.now.date())
    first = args.first or _term_begins(m.district, schools, last)
    held = counted(m, first, last, args.school, args.student)
    faults = [as_fault(fault, m.now) for fault in held.faults]
    kept = args.at_least if args.outside else 0
    groups = report(held.checks, faults, lambda one: one.school, kept)
    return _Found(m.district, first, last, held, groups, () if args.outside else steps(held.turns))


def _schools(district: District, args: Namespace) -> Sequence[str]:
    """The schools the report is about; an id that nobody knows is said, with those there are."""
    if args.student and args.student not in district.students:
        raise CannotRun(f"--student {args.student}: there is no such student in the configuration in force")
    if args.school and args.school not in district.schools:
        there = ", ".join(district.schools)
        raise CannotRun(f"--school {args.school}: there is no such school; it would be right as one of: {there}")
    return [args.school] if args.school else list(district.schools)


def _term_begins(district: District, schools: Sequence[str], last: date) -> date:
    """The first day of the term that `last` lies in, the earliest of the schools'; else some weeks before."""
    terms = (term for school in schools for term in district.schools[school].terms)
    return min((term.first for term in terms if term.holds(last)), default=last - DAYS)


def _as_report(found: _Found, args: Namespace) -> Report:
    names = {id: school.name for id, school in found.district.schools.items()}
    kept = args.at_least if args.outside else 0
    return Report(found.district.name, found.first, found.last, found.groups, names, found.steps, kept)


def _write(path: Path, text: str, out: Out) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="")
    except OSError as error:
        raise CannotRun(f"{path} cannot be written: {error.strerror}; name a place that can be") from None
    out.line(f"wrote {path}")


def _as_json(group: Group) -> dict[str, object]:
    """A group for programs; null is what was kept back, or cannot be said."""
    return {
        "group": "total" if group.name == TOTAL else group.name,
        "students": group.children,
        "results": {result.value: count for result, count in group.results.items()},
        "figures": {
            measure.value: figure
            and {"count": figure.count, "of": figure.of, **asdict(figure.estimate), "limits": figure.limits.value}
            for measure, figure in group.figures.items()
        },
    }


def _lines(found: _Found) -> Iterator[str]:
    yield f"{found.district.name}, {found.first} to {found.last}"
    for group in found.groups:
        if len(found.groups) == 2 and group.name == TOTAL:
            continue
        yield ""
        yield "all schools" if group.name == TOTAL else group.name
        for measure, figure in group.figures.items():
            name, of, _ = explained(measure)
            yield f"  {name}: {value(figure) if figure else 'kept back'}"
            yield f"      of {of}"
