"""The report for a district as one HTML page that needs nothing beside it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined

from service.core.district import Role
from service.core.measures.figures import Measure
from service.core.measures.hiding import TOTAL
from service.core.measures.report import Group
from service.core.measures.steps import Step
from service.languages import phrase, speaking, spoken, spoken_in
from service.wording.measures import WORDS, explained, share, value
from service.wording.names import RESULTS, result_words, role_words


@dataclass(frozen=True)
class Report:
    """What the page shows: `groups` with all together last, and in which `steps` silence was answered. `names` are the
    schools by id; `at_least` 0: nothing was kept back.
    """

    district: str
    first: date
    last: date
    groups: Sequence[Group]
    names: Mapping[str, str]
    steps: Sequence[Step] = ()
    at_least: int = 0


def page(report: Report, language: str) -> str:
    """The page in a language that is offered, else in English."""
    with speaking(language):
        words = {"facts": _facts(report), "language": spoken(), "kept_back": phrase("kept back")}
        return _pages().get_template("report.html").render(words)


@cache
def _pages() -> Environment:
    environment = Environment(
        loader=PackageLoader("service.wording", "pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    spoken_in(environment)
    return environment


def _facts(report: Report) -> dict[str, object]:
    return {
        "district": report.district,
        "first": report.first.isoformat(),
        "last": report.last.isoformat(),
        "at_least": report.at_least,
        "results": [{"value": r, "name": result_words(r)} for r in RESULTS],
        "groups": [_group(group, report.names) for group in report.groups],
        "steps": [_step(step) for step in report.steps],
    }


def _group(group: Group, names: Mapping[str, str]) -> dict[str, object]:
    name = phrase("all schools") if group.name == TOTAL else names.get(group.name, group.name)
    return {
        "name": name,
        "children": group.children,
        "results": group.results,
        "lines": [_line(group, measure) for measure in WORDS],
    }


def _line(group: Group, measure: Measure) -> dict[str, str]:
    figure = group.figures[measure]
    name, of, reading = explained(measure)
    return {"name": name, "of": of, "reading": reading, "value": value(figure) if figure else ""}


def _step(step: Step) -> dict[str, object]:
    return {
        "position": step.position,
        "who": _who(step.who),
        "answered": share(step.saved, step.reached, step.saves),
        "nine_of_ten": _minutes(step.nine_of_ten),
        "limit": _minutes(step.limit),
        "too_long": step.too_long,
    }


def _who(label: str) -> str:
    """Whose turn it was: a role; a contact who is named in the chain stays unnamed, since nobody is ranked."""
    return role_words(Role(label)) if label in set(Role) else phrase("a contact named in the chain")


def _minutes(minutes: float | None) -> str:
    return "" if minutes is None else phrase("%(n)s min", n=round(minutes))
