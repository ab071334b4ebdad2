"""What a child lost by a fault, and what it had meanwhile, as `measures.lost` takes it."""

from collections.abc import Callable, Iterable, Iterator
from datetime import date, datetime

from service.core.measures.lost import Broken, Stretch
from service.core.road.stand import stand
from service.core.road.values import Fault, Stage, What


def broken(
    fault: Fault, away: Iterable[date], now: datetime, day_end: Callable[[datetime], datetime]
) -> Broken:
    """A fault from its report until it worked again. A loaner bridges from out to back; what was recorded with one
    tap (sat in front, notes given) from the tap to the last bell of that day, which `day_end` knows.
    """
    held = stand(fault)
    return Broken(
        held.reported, held.over, frozenset(away), tuple(_meanwhile(fault, held.over or now, day_end))
    )


def counts(fault: Fault) -> bool:
    """Whether the fault was one: not what was taken back."""
    return stand(fault).stage is not Stage.NO_FAULT


def _meanwhile(fault: Fault, end: datetime, day_end: Callable[[datetime], datetime]) -> Iterator[Stretch]:
    out: datetime | None = None
    for step in fault.steps:
        if step.taken_back is not None or step.at > end:
            continue
        if step.what is What.LENT:
            out = out or step.at
        elif step.what is What.RETURNED and out is not None:
            yield out, step.at
            out = None
        elif step.what is What.ACCESS:
            yield step.at, max(step.at, day_end(step.at))
    if out is not None:
        yield out, end
