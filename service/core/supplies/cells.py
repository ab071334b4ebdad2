"""How long a zinc-air cell lasts by what is printed about it: used only until there is a record.

Sizes, codes, colours: IEC 60086 names and the trade's tab colours. Capacities are typical ones from a retail list;
cells measured by Thomas, Bardsley, Wild and Penman 2024 (Audiology Research 14(4):56) stayed below their makers'
figures, so what comes out is an upper bound.
"""

from collections.abc import Mapping
from dataclasses import dataclass

AT_MOST_DAYS = 28.0
"""An open zinc-air cell dries out; longer lives are not reached whatever the drain (from memory)."""

WORN_HOURS = 12.0
"""Hours a day that a device runs, as the worked lives of data sheets assume."""


@dataclass(frozen=True)
class Size:
    """A cell size: IEC code, tab colour, typical capacity in mAh."""

    code: str
    tab: str
    capacity: float


SIZES: Mapping[str, Size] = {
    "10": Size("PR70", "yellow", 100),
    "312": Size("PR41", "brown", 180),
    "13": Size("PR48", "orange", 310),
    "675": Size("PR44", "blue", 650),
}


def life_hours(capacity: float, drain: float) -> float:
    """Hours that a cell of `capacity` mAh feeds a device drawing `drain` mA: their quotient.

    Raises ValueError where either is not above nought.
    """
    if capacity <= 0 or drain <= 0:
        raise ValueError(f"capacity {capacity} mAh and drain {drain} mA must both be above 0")
    return capacity / drain


def life_days(capacity: float, drain: float, hours: float = WORN_HOURS) -> float:
    """The same in days of so many hours worn, no more than an open cell keeps."""
    if not 0 < hours <= 24:
        raise ValueError(f"{hours} hours a day; give a number above 0 and up to 24")
    return min(AT_MOST_DAYS, life_hours(capacity, drain) / hours)
