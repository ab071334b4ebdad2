"""Where a fault stands, folded from its steps, and what may happen to it next."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime

from service.core.district import SEVERITIES, Severity, Side
from service.core.road.values import CLOSED, Fault, Stage, Step, What


class OutOfPlace(Exception):
    """The step cannot follow where the fault stands; the message is the stage."""


@dataclass(frozen=True)
class Stand:
    """Where a fault stands. `since` is when it came there, `reported` when it was first reported, `reports` how
    often.

    `holder` is who has it, or answers for where it is; `promised` the next date that was given (None: nobody said
    one, or it was made good), `asks` whether its holder is still to be reminded of it. `lent`: a loaner is out, of
    that id (empty: nobody said which). `over` is when the road ended.
    """

    stage: Stage
    since: datetime
    reported: datetime
    reports: int
    severity: Severity
    side: Side | None
    holder: str | None = None
    promised: date | None = None
    asks: bool = False
    lent: str | None = None
    over: datetime | None = None

    @property
    def is_open(self) -> bool:
        """Whether the device does not work yet, as far as anybody has seen it on the child."""
        return self.stage not in CLOSED


OPEN = frozenset(Stage) - CLOSED
AT_SCHOOL = frozenset({Stage.REPORTED, Stage.TRIED, Stage.IN_HAND})
"""Stages in which a broken device is at school."""

MAY: Mapping[What, frozenset[Stage]] = {
    What.REPORTED: OPEN,
    What.TRIED: frozenset({Stage.REPORTED}),
    What.MINE: OPEN,
    What.HOME: OPEN - {Stage.HOME},
    What.CLINIC: OPEN - {Stage.CLINIC},
    What.REPAIR: OPEN - {Stage.REPAIR},
    What.PROMISED: OPEN,
    What.REMINDED: OPEN,
    What.LENT: OPEN,
    What.RETURNED: OPEN,
    What.ACCESS: OPEN,
    What.SAID: OPEN - {Stage.SAID},
    What.WORKING: OPEN,
    What.OVER: OPEN,
    What.LEFT: OPEN,
    What.NOTE: frozenset(Stage),
}
"""From which stages something may happen; what a loaner forbids beside it stands in `may`."""

LEADS: Mapping[What, Stage] = {
    What.TRIED: Stage.TRIED,
    What.HOME: Stage.HOME,
    What.CLINIC: Stage.CLINIC,
    What.REPAIR: Stage.REPAIR,
    What.SAID: Stage.SAID,
    What.WORKING: Stage.WORKING,
    What.OVER: Stage.OVER,
    What.LEFT: Stage.LEFT,
}
"""Where a step leads whatever was before."""

DATED = frozenset({What.HOME, What.CLINIC, What.REPAIR, What.PROMISED, What.SAID, What.WORKING})
"""What brings a new date, or makes the last one good."""

HELD = frozenset({What.MINE, What.HOME, What.CLINIC, What.REPAIR, What.PROMISED})
"""By which somebody takes it upon themselves."""


def may(now: Stand, what: What) -> bool:
    """Whether something may happen to a fault that stands so. While a loaner is worn, a check on the child speaks of
    the loaner: the fault cannot end as working before the child's own device is back.
    """
    if now.stage not in MAY[what]:
        return False
    match what:
        case What.WORKING:
            return now.lent is None
        case What.LENT:
            return not now.lent
        case What.RETURNED:
            return now.lent is not None
        case What.REMINDED:
            return now.asks
        case _:
            return True


def follow(fault: Fault, step: Step) -> Fault:
    """The fault after one more step. Raises `OutOfPlace` where it cannot follow."""
    after = replace(fault, steps=(*fault.steps, step))
    if any(s.taken_back is None for s in fault.steps):
        now = stand(fault)
        if not may(now, step.what):
            raise OutOfPlace(now.stage.value)
    elif step.what is not What.REPORTED:
        raise OutOfPlace("not reported")
    return after


def take_back(fault: Fault, said_in: str, at: datetime) -> Fault:
    """The fault as if what was said in one message had not been said; its steps stay, marked."""

    def marked(step: Step) -> Step:
        undone = step.said_in == said_in and step.taken_back is None
        return replace(step, taken_back=at) if undone else step

    return replace(fault, steps=tuple(marked(step) for step in fault.steps))


def stand(fault: Fault) -> Stand:
    """Where a fault stands by the steps that were not taken back. Where every report was taken back there was no
    fault.

    Raises ValueError for a fault without a step.
    """
    if not fault.steps:
        raise ValueError(f"{fault.id} has no step; a fault begins with its report")
    held = [step for step in fault.steps if step.taken_back is None]
    reports = [step for step in held if step.what is What.REPORTED]
    if not reports:
        return _taken_back(fault)
    now = _begun(reports[0], reports)
    for step in held:
        now = _after(now, step)
    return now


def _begun(first: Step, reports: list[Step]) -> Stand:
    grades = [step.severity or Severity.SAME_DAY for step in reports]
    return Stand(
        stage=Stage.REPORTED,
        since=first.at,
        reported=first.at,
        reports=len(reports),
        severity=max(grades, key=SEVERITIES.index),
        side=next((step.side for step in reports if step.side), None),
    )


def _taken_back(fault: Fault) -> Stand:
    first = fault.steps[0]
    over = max((step.taken_back for step in fault.steps if step.taken_back), default=first.at)
    return replace(_begun(first, [first]), stage=Stage.NO_FAULT, since=over, reports=0, over=over)


def _after(now: Stand, step: Step) -> Stand:
    if now.stage in CLOSED:
        return now
    moved = _moved(now, step)
    if step.what in DATED:
        moved = replace(moved, promised=step.until, asks=step.until is not None)
    return replace(moved, holder=step.by or moved.holder) if step.what in HELD else moved


def _moved(now: Stand, step: Step) -> Stand:
    match step.what:
        case What.REPORTED:
            # Said to be working, and reported again: then it does not work.
            return _at(now, Stage.REPORTED, step) if now.stage is Stage.SAID else now
        case What.MINE:
            return _at(now, Stage.IN_HAND, step) if now.stage in AT_SCHOOL else now
        case What.REMINDED:
            return replace(now, asks=False)
        case What.LENT:
            return replace(now, lent=step.detail)
        case What.RETURNED:
            return replace(now, lent=None)
        case _:
            lead = LEADS.get(step.what)
            return _at(now, lead, step) if lead else now


def _at(now: Stand, stage: Stage, step: Step) -> Stand:
    over = step.at if stage in CLOSED else None
    return replace(now, stage=stage, since=step.at, over=over)
