"""How a check stands, folded from what was said about it: nothing is kept that the statements do not say.

The worst unsettled statement stands (rule C8): a fault stays until words that point at it settle it. Only
statements that were accepted are folded; whether words may settle a fault is decided before they are stored.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from service.core.reading import Fault, Listened, NotDone, Result


@dataclass(frozen=True)
class Statement:
    """What one person said about one check. `late` marks an answer after the day had closed (C15)."""

    at: datetime
    person: str
    result: Result
    faults: tuple[Fault, ...] = ()
    missed_sounds: tuple[str, ...] = ()
    reason: NotDone | None = None
    late: bool = False
    listened: Listened | None = None


@dataclass(frozen=True)
class Standing:
    """How a check stands: its result (None: open), the faults that are open or were fixed, and who said so."""

    result: Result | None = None
    faults: tuple[Fault, ...] = ()
    by: str | None = None
    at: datetime | None = None
    missed_sounds: tuple[str, ...] = ()
    listened: Listened | None = None


def stand(statements: Iterable[Statement]) -> Standing:
    """Fold statements, in the order said, into how the check stands. Late answers are kept beside."""
    now = Standing()
    for said in statements:
        if not said.late:
            now = _after(now, said)
    return now


def _after(now: Standing, said: Statement) -> Standing:
    if said.result is Result.FAULT:
        open_before = now.faults if now.result is Result.FAULT else ()
        faults = (*open_before, *(f for f in said.faults if f not in open_before))
        missed = said.missed_sounds or now.missed_sounds
        return Standing(Result.FAULT, faults, said.person, said.at, missed, said.listened or now.listened)
    if said.result is Result.NOT_DONE and now.result is Result.FAULT:
        return now
    if said.result is Result.FIXED:
        return Standing(Result.FIXED, said.faults or now.faults, said.person, said.at)
    return Standing(said.result, (), said.person, said.at, listened=said.listened)
