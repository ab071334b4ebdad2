"""When a shelf will be empty, when to order, and how much: over school days, since nothing is used in the holidays."""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from service.core.supplies.demand import Demand


@dataclass(frozen=True)
class Supplying:
    """How a district orders, in calendar days: a delivery takes `lead`, orders are looked at every `review`, an order
    is to last `lasts` beyond that. `level` is how often nothing shall be missing until the next delivery; `pack` how
    many come in one.
    """

    lead: int = 14
    review: int = 7
    lasts: int = 28
    level: float = 0.95
    pack: int = 1


@dataclass(frozen=True)
class Empty:
    """The school day by whose end the shelf is likely empty, and the first on which it may well be; None: not in the
    days known.
    """

    early: date | None
    likely: date | None


def runs_out(
    on_hand: int, of: Demand, devices: int, days: Sequence[date], level: float = 0.95, good_until: date | None = None
) -> Empty:
    """When `on_hand` pieces will have been used by so many devices on these school days, earliest first.

    `likely`: with more than even chance by the end of that day; `early`: with a chance of more than 1 - level. Neither
    is later than the last of the days on which anything is good (`good_until`; None: something does not go bad).
    """
    good = len(days) if good_until is None else bisect_right(days, good_until)

    def first(chance: float) -> date | None:
        number = bisect_left(range(1, len(days) + 1), True, key=lambda n: of.at_most(n * devices, chance) >= on_hand)
        number = min(number, max(0, good - 1)) if good < len(days) else number
        return days[number] if number < len(days) else None

    return Empty(first(level), first(0.5))


def days_to_cover(days: Sequence[date], today: date, wait: int) -> int:
    """School days from today on that the shelf must last for a delivery `wait` calendar days off.

    A parcel that comes when the school is closed is taken in on its next school day, which still lives from the old
    stock. `days` are the school days known, in order; where they end first, all that are left.
    """
    start = bisect_left(days, today)
    arrives = bisect_left(days, today + timedelta(days=wait))
    return min(arrives + 1, len(days)) - start


def reorder_point(of: Demand, devices: int, days: Sequence[date], today: date, how: Supplying) -> int:
    """The number at or below which to order: what is used, at the level asked for, until an order placed at the next
    look arrives.

    The least stock that demand over lead time and review period does not exceed with that probability: the service
    level of a periodic review (Silver, Pyke and Peterson 1998, Inventory Management, ch. 7; from memory).
    """
    return of.at_most(devices * days_to_cover(days, today, how.lead + how.review), how.level)


@dataclass(frozen=True)
class Order:
    """What to do about a shelf: order `count` pieces (0: nothing) since `position` (on hand and on order) is at or
    below `point`.
    """

    count: int
    position: int
    point: int


def order(
    on_hand: int, on_order: int, of: Demand, devices: int, days: Sequence[date], today: date, how: Supplying
) -> Order:
    """Whether to order now, and how many whole packs: up to what lasts beyond the next delivery."""
    point = reorder_point(of, devices, days, today, how)
    position = on_hand + on_order
    if position > point or not of.rate * devices:
        return Order(0, position, point)
    whole = days_to_cover(days, today, how.lead + how.review + how.lasts)
    wanted = max(of.at_most(devices * whole, how.level), point + 1) - position
    return Order(-(-wanted // how.pack) * how.pack, position, point)
