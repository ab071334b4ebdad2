"""The figures of a report. Each says what it counts, of how many, and how its limits were found.

No figure ranks people: nothing here is counted by the adult who did the check.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from service.core.measures.interval import Estimate
from service.core.measures.proportions import Share, by_child, wilson
from service.core.measures.rates import rate
from service.core.measures.survival import Spell, curve, quantile
from service.core.measures.tally import (
    DONE,
    Checked,
    days_with_a_fault,
    device_days,
    grouped,
    tally,
    times_to_answer,
)
from service.core.reading import Result


class Measure(StrEnum):
    """What a figure is about."""

    DONE = "done"
    UNANSWERED = "unanswered"
    WORKING_ON_ARRIVAL = "working on arrival"
    FAULT_FOUND = "fault found"
    FIXED_IN_CLASS = "fixed in class"
    CHILDREN_WITH_FAULT = "children with a fault"
    FAULTS = "days with a fault"
    TO_ANSWER = "minutes to answer"
    TO_TOLD = "minutes to told"
    TO_WORKING = "minutes to working"


class Limits(StrEnum):
    """How the limits of a figure were found."""

    EACH_ONCE = "Wilson, each counted once"
    BY_CHILD = "by child"
    COUNT = "Garwood"
    MEDIAN = "Brookmeyer and Crowley"


LIMITS: Mapping[Measure, Limits] = {
    **dict.fromkeys(Measure, Limits.BY_CHILD),
    Measure.CHILDREN_WITH_FAULT: Limits.EACH_ONCE,
    Measure.FAULTS: Limits.COUNT,
    Measure.TO_ANSWER: Limits.MEDIAN,
    Measure.TO_TOLD: Limits.MEDIAN,
    Measure.TO_WORKING: Limits.MEDIAN,
}


@dataclass(frozen=True)
class Figure:
    """`count` of `of` units; `estimate` is a share (0 to 1), a rate for 100 device-days, or a median in minutes.

    `of` counts what the measure's name implies: checks expected or done, children, faults, device-days or
    spells; of a median `count` are the spells that have ended.
    """

    measure: Measure
    count: int
    of: int
    estimate: Estimate

    @property
    def limits(self) -> Limits:
        """How its limits were found."""
        return LIMITS[self.measure]


@dataclass(frozen=True)
class Fault:
    """One fault in minutes since it was reported: until the first of the chain was told, and until it worked."""

    student: str
    school: str
    to_told: Spell
    to_working: Spell


def figures(checks: Sequence[Checked], faults: Sequence[Fault] = ()) -> tuple[Figure, ...]:
    """All figures of these checks and of the faults reported in the same time."""
    return (
        *(_share(measure, checks, some, of) for measure, some, of in _SHARES),
        _children(checks),
        _rate(checks),
        _median(Measure.TO_ANSWER, times_to_answer(checks)),
        _median(Measure.TO_TOLD, [f.to_told for f in faults]),
        _median(Measure.TO_WORKING, [f.to_working for f in faults]),
    )


EXPECTED = tuple(r for r in Result if r not in (Result.AWAY, Result.NO_CHECK))
BROKEN = (Result.FIXED, Result.FAULT)

_SHARES = (
    (Measure.DONE, DONE, EXPECTED),
    (Measure.UNANSWERED, (Result.UNANSWERED,), EXPECTED),
    (Measure.WORKING_ON_ARRIVAL, (Result.WORKING,), DONE),
    (Measure.FAULT_FOUND, BROKEN, DONE),
    (Measure.FIXED_IN_CLASS, (Result.FIXED,), BROKEN),
)

def _share(
    measure: Measure, checks: Iterable[Checked], some: Sequence[Result], of: Sequence[Result]
) -> Figure:
    shares = [_counted(held, some, of) for held in grouped(checks, lambda c: c.student).values()]
    count, whole = sum(s.count for s in shares), sum(s.of for s in shares)
    return Figure(measure, count, whole, by_child(shares))


def _counted(checks: Iterable[Checked], some: Sequence[Result], of: Sequence[Result]) -> Share:
    results = tally(checks).results
    return Share(sum(results.get(r, 0) for r in some), sum(results.get(r, 0) for r in of))


def _children(checks: Iterable[Checked]) -> Figure:
    done = [c for c in checks if c.result in DONE]
    seen = {c.student for c in done}
    hit = {c.student for c in done if c.result in BROKEN}
    limits = wilson(len(hit), len(seen))
    return Figure(Measure.CHILDREN_WITH_FAULT, len(hit), len(seen), limits)


def _rate(checks: Sequence[Checked]) -> Figure:
    events, days = days_with_a_fault(checks), device_days(checks)
    return Figure(Measure.FAULTS, events, days, rate(events, days))


def _median(measure: Measure, spells: Sequence[Spell]) -> Figure:
    ended = sum(s.ended for s in spells)
    return Figure(measure, ended, len(spells), quantile(curve(spells)))
