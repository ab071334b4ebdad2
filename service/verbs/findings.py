"""`bellcheck findings`: what stands out in the record and is worth looking at, with numbers and what they are of."""

from argparse import ArgumentParser, Namespace
from collections.abc import Iterator, Sequence
from datetime import date, timedelta

from service.core.listening.design import BUDGET as SLIPS_BUDGET
from service.core.measures.proportions import Share
from service.core.patterns.looks import BUDGET, Finding, Kind
from service.engine import patterns
from service.engine.desk import Moment
from service.verbs.desks import desk_open
from service.verbs.folders import json_option
from service.verbs.speaking import DONE, CannotRun, Out, a_date

YEAR = timedelta(days=300)
"""How far back the first term of a school year may have begun."""

SAID = {
    Kind.SOUND: ("sound that went", "missed, of the checks since it was last as usual"),
    Kind.PASSED_ON: ("who is asked does not answer", "school days on which somebody else had to be asked"),
    Kind.CELLS: ("cells run down faster", "children found with a cell run down, a day and child each"),
    Kind.TYPE: ("type of cable fails more often", "children found with a cable at fault, a day and child each"),
    Kind.CONTACT: ("contact never answers", "of their last turns, those they took on"),
    Kind.OTHERWISE: ("found otherwise within the hour", "of their good answers that somebody looked at again"),
}
"""What each kind is called, and what is counted."""

AGAINST = {
    Kind.PASSED_ON: "before", Kind.CELLS: "before", Kind.TYPE: "other types", Kind.OTHERWISE: "everybody else",
}  # fmt: skip


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    parser.add_argument("--from", dest="first", type=a_date, metavar="D", help="default: the school year's first day")
    parser.add_argument("--to", dest="last", type=a_date, metavar="D", help="default: today")
    json_option(parser)


def run(args: Namespace, out: Out) -> int:
    """Print what stands out; nothing, or something, is not a problem."""
    with desk_open(moved_too=True) as desk, desk.glance() as m:
        first, last = _span(m, args)
        found = patterns.findings(m, first, last)
    if args.json:
        out.json([_as_json(one) for one in found])
        return DONE
    if found:
        out.line(f"Worth looking at, {first} to {last}. What it is due to, the numbers do not say.")
        out.table(("seen", "what", "about", "how often", "held against"), map(_row, found))
        out.line()
    else:
        out.line(f"Nothing stands out, {first} to {last}. That does not say that all is well: little things do not.")
    out.lines(_notes(found))
    return DONE


def _span(m: Moment, args: Namespace) -> tuple[date, date]:
    last = args.last or max((m.today(school) for school in m.district.schools), default=m.now.date())
    terms = [term.first for school in m.district.schools.values() for term in school.terms]
    first = args.first or min((day for day in terms if last - YEAR <= day <= last), default=last - YEAR)
    if first > last:
        raise CannotRun(f"--from {first} is later than --to {last}; give the earlier date first")
    return first, last


def _row(one: Finding) -> Sequence[str]:
    against = f"{_share(one.there)} {AGAINST[one.kind]}" if one.there else "-"
    about = ", ".join(part for part in (one.at, one.about) if part)
    return one.on.isoformat(), SAID[one.kind][0], about, _share(one.here), against


def _share(share: Share) -> str:
    return f"{share.count} of {share.of}"


def _notes(found: Sequence[Finding]) -> Iterator[str]:
    for kind in dict.fromkeys(one.kind for one in found):
        yield f"{SAID[kind][0]}: {SAID[kind][1]}."
    yield (
        f"Looked at as each week ended, so that {BUDGET} false findings of each kind are to be expected in a year in "
        f"all schools together, and {SLIPS_BUDGET} for each child whose usual answers are stated."
    )
    yield "An absence of several days that nobody announced can stand out as well."


def _as_json(one: Finding) -> dict[str, object]:
    there = {"count": one.there.count, "of": one.there.of} if one.there else None
    return {
        "seen": one.on.isoformat(),
        "what": one.kind.value,
        "about": one.about,
        "school": one.at or None,
        "here": {"count": one.here.count, "of": one.here.of},
        "held against": there,
        "counted": SAID[one.kind][1],
    }
