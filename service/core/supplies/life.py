"""How long cells last by the record of changes, those changed before they were flat included."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from service.core.measures.interval import Estimate
from service.core.measures.survival import Spell, curve, quantile

ENOUGH = 5
"""Cells that ran flat in the record below which their life is taken from capacity (local choice)."""


@dataclass(frozen=True)
class Change:
    """A cell put into a device: whose, which one (side, or any name), when. `flat`: the one before had run down; else
    it was changed early, or nobody knows.
    """

    student: str
    device: str
    on: date
    flat: bool


@dataclass(frozen=True)
class Life:
    """Days that a cell lasts: the median with its limits. `flat` of `seen` cells were seen to run down; where these are
    too few `days` is what capacity promises, without limits, and `from_record` says no.
    """

    days: Estimate
    from_record: bool
    flat: int
    seen: int


def lifetimes(changes: Iterable[Change], until: date) -> list[Spell]:
    """Days each cell was in, from its change to the next of the same device, or to `until`.

    Only a cell found flat has shown its life; one taken out early, or still in, lasts longer than it was seen. What was
    in before the first change is left out: nobody knows since when.
    """
    devices: defaultdict[tuple[str, str], list[Change]] = defaultdict(list)
    for change in sorted(changes, key=lambda c: c.on):
        if change.on <= until:
            devices[change.student, change.device].append(change)
    return [spell for held in devices.values() for spell in _spells(held, until)]


def _spells(held: list[Change], until: date) -> list[Spell]:
    between = [Spell((later.on - earlier.on).days, later.flat) for earlier, later in pairwise(held)]
    return [*between, Spell((until - held[-1].on).days, ended=False)]


def life(spells: Iterable[Spell], by_capacity: float) -> Life:
    """The life of cells of one size and use: by the record where it says enough, else `by_capacity` days."""
    held = list(spells)
    flat = sum(s.ended for s in held)
    if flat >= ENOUGH:
        found = quantile(curve(held))
        if found.value is not None:
            return Life(found, True, flat, len(held))
    return Life(Estimate(by_capacity, None, None), False, flat, len(held))
