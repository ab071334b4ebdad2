"""What goes bad, and how much of it nobody will have used by then."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from service.core.supplies.demand import Demand
from service.core.supplies.items import Batch


@dataclass(frozen=True)
class Expiring:
    """Pieces that go bad after `expires`; about `unused` of them will still lie there."""

    expires: date
    count: int
    unused: int


def expiring(
    batches: Sequence[Batch], of: Demand, devices: int, days: Sequence[date], today: date
) -> tuple[Expiring, ...]:
    """The batches that go bad within the school days known, soonest first, if the oldest are used first.

    What is unused is what is there less what is used on average: no more than a hint to swap shelves in time.
    """
    dated = [(b.expires, b.count) for b in batches if b.expires is not None and b.expires >= today and b.count]
    last = max(days, default=today)
    found = []
    left = 0
    for expires, count in sorted(d for d in dated if d[0] <= last):
        left += count
        used = of.rate * devices * sum(today <= day <= expires for day in days)
        unused = min(count, max(0, int(left - used)))
        left -= unused
        found.append(Expiring(expires, count, unused))
    return tuple(found)
