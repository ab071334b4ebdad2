"""What lies on a shelf, and what is never counted together."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum


class Kind(StrEnum):
    """Kinds of supplies."""

    CELL = "cell"
    CABLE = "cable"
    COIL_COVER = "coil cover"
    TUBE = "tube"
    DOME = "dome"
    DRYING_CAPSULE = "drying capsule"


class Use(StrEnum):
    """What a cell is made for. An implant's processor draws several times the current of a hearing aid, which an
    ordinary cell of the same size may not sustain (from memory; follow the implant team's advice on types).
    """

    ORDINARY = "ordinary"
    IMPLANT = "implant"


@dataclass(frozen=True, order=True)
class Item:
    """One kind of supply of one size or type. Of two cells of one size but different use none replaces the other.

    Raises ValueError for a cell without a use, or another item with one.
    """

    kind: Kind
    size: str
    use: Use | None = None

    def __post_init__(self) -> None:
        if (self.kind is Kind.CELL) != (self.use is not None):
            raise ValueError(f"a use goes with cells alone, and with every cell; not so for {self.kind} {self.size}")


@dataclass(frozen=True, order=True)
class Place:
    """Where supplies lie: a school's shelf, or a student's own spares there (`owner`), which serve nobody else."""

    school: str
    owner: str | None = None


@dataclass(frozen=True)
class Batch:
    """So many of one item that go bad after `expires` (None: they do not)."""

    count: int
    expires: date | None = None

    def __post_init__(self) -> None:
        if self.count < 0:
            raise ValueError(f"{self.count} pieces cannot lie on a shelf")


@dataclass(frozen=True)
class Counted:
    """What was counted of an item at a place, and when: on a date, in the morning, or at the instant `at`; `on_order`
    is still to come. `by` is who counted; None: the folder says so.
    """

    place: Place
    item: Item
    on: date
    batches: tuple[Batch, ...]
    on_order: int = 0
    at: datetime | None = None
    by: str | None = None

    def is_before(self, at: datetime, on: date) -> bool:
        """Whether what happened at an instant, on a date by the school's clock, is not in the count yet."""
        return self.at < at if self.at is not None else self.on <= on


@dataclass(frozen=True)
class Shelf:
    """A shelf as the district keeps it: what was counted, who uses it, how it is ordered (`lead` in calendar days,
    whole `pack`s, nothing missing until the next delivery with probability `level`), how many calendar days one piece
    `lasts` until the record says, who keeps it (none: the school's coordinators), and `where` one
    finds it (empty: not written).
    """

    id: str
    counted: Counted
    students: tuple[str, ...]
    lasts: float
    lead: int = 14
    pack: int = 1
    level: float = 0.95
    keepers: tuple[str, ...] = ()
    where: str = ""


def latest(one: Counted, other: Counted) -> Counted:
    """Of two counts of a shelf the later one. On one day the one with an instant: the other was in the morning."""
    if one.on != other.on:
        return max(one, other, key=lambda c: c.on)
    if one.at is None or (other.at is not None and one.at < other.at):
        return other
    return one


def left_after(batches: Iterable[Batch], used: int) -> tuple[Batch, ...]:
    """What is left of batches once so many pieces were used, those that go bad first before the others."""
    found = []
    for batch in sorted(batches, key=lambda b: b.expires or date.max):
        gone = min(used, batch.count)
        used -= gone
        if gone < batch.count:
            found.append(Batch(batch.count - gone, batch.expires))
    return tuple(found)


def usable(batches: Iterable[Batch], on: date) -> int:
    """The pieces that have not gone bad by a date."""
    return sum(b.count for b in batches if b.expires is None or b.expires >= on)


def good_until(batches: Iterable[Batch]) -> date | None:
    """The last date on which any piece is good; None where some do not go bad, or there are none."""
    dates = [b.expires for b in batches]
    return None if None in dates else max((d for d in dates if d is not None), default=None)
