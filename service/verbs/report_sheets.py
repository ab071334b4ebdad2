"""A report as sheets for analysts: CSV files, and one that says what every column means."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from service.core.measures.hiding import TOTAL
from service.core.measures.report import Group
from service.core.measures.steps import Step
from service.core.reading import Result
from service.engine.measures import FaultTimes
from service.wording.cells import csv_text

DICTIONARY: Mapping[str, Mapping[str, str]] = {
    "figures.csv": {
        "group": "id of the school, or total",
        "measure": "what is measured; the page of the report says how to read it",
        "count": "how many; of a median, how many have ended",
        "of": "of how many: checks, students, faults or device-days, as the measure says",
        "value": "a share from 0 to 1; a rate for 100 device-days; a median in minutes. Empty: cannot be said",
        "low": "lower 95 % limit, in the unit of the value",
        "high": "upper 95 % limit; empty where too many are still open, or there is one student",
        "limits": "how the limits were found",
        "kept back": "yes: a number is too small to show, or would give one away",
    },
    "results.csv": {
        "group": "id of the school, or total",
        "students": "students with a check in the time; empty: kept back",
        **{r.value: f"checks that ended as {r.value}; empty: kept back" for r in Result},
    },
    "steps.csv": {
        "cause": "why the chain ran",
        "step": "number of the turn in the chain, from 1",
        "who": "role whose turn it was, or a contact named in the chain",
        "turns": "turns in which somebody was told",
        "answered": "turns that ended with an answer of whoever's turn it was",
        "low": "lower 95 % limit of the share answered, by student",
        "high": "upper 95 % limit of it",
        "nine of ten": "minutes within which nine of ten of the answers came",
        "limit": "usual limit of the turn in minutes; empty: to the day's end, or to a bell",
        "long": "yes: at least ten answers, and the limit twice the time of nine of ten or more",
    },
    "faults.csv": {
        "student": "id of the student",
        "school": "id of the school",
        "codes": "what was reported",
        "reported": "when, UTC",
        "told": "when the first of the chain was told, UTC; empty: nobody yet",
        "working": "when it worked again, UTC; empty: not yet",
        "minutes without": "school minutes without any access, so far where it is open",
        "minutes bridged": "school minutes with a loaner",
    },
}
"""What every column of every sheet means."""


def sheets(groups: Sequence[Group], steps: Sequence[Step], faults: Sequence[FaultTimes]) -> dict[str, str]:
    """The sheets by file name, with the one that explains them. Steps and faults are left out where there are none."""
    rows = {
        "figures.csv": [row for group in groups for row in _figures(group)],
        "results.csv": [_results(group) for group in groups],
        "steps.csv": [_step(step) for step in steps],
        "faults.csv": [_fault(fault) for fault in faults],
    }
    held = {name: found for name, found in rows.items() if found}
    explained = [(name, column, what) for name in held for column, what in DICTIONARY[name].items()]
    return {
        **{name: csv_text(tuple(DICTIONARY[name]), found) for name, found in held.items()},
        "dictionary.csv": csv_text(("file", "column", "meaning"), explained),
    }


def _figures(group: Group) -> Iterable[Sequence[str]]:
    for measure, figure in group.figures.items():
        if figure is None:
            yield (_name(group), measure.value, *[""] * 6, "yes")
            continue
        held = figure.estimate
        numbers = (_number(held.value), _number(held.low), _number(held.high))
        counts = (str(figure.count), str(figure.of))
        yield (_name(group), measure.value, *counts, *numbers, figure.limits.value, "no")


def _results(group: Group) -> Sequence[str]:
    return (_name(group), _number(group.children), *(_number(group.results[r]) for r in Result))


def _step(step: Step) -> Sequence[str]:
    counts = (str(step.position), step.who, str(step.reached), str(step.saved))
    limits = (_number(step.saves.low), _number(step.saves.high))
    times = (_number(step.nine_of_ten), _number(step.limit))
    return (step.chain, *counts, *limits, *times, "yes" if step.too_long else "no")


def _fault(fault: FaultTimes) -> Sequence[str]:
    times = (_instant(fault.reported), _instant(fault.told), _instant(fault.working))
    lost = (str(fault.lost.without), str(fault.lost.bridged))
    return (fault.student, fault.school, " ".join(fault.codes), *times, *lost)


def _name(group: Group) -> str:
    return "total" if group.name == TOTAL else group.name


def _number(value: float | None) -> str:
    if value is None:
        return ""
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _instant(at: datetime | None) -> str:
    return at.isoformat() if at else ""
