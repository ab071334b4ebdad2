"""A cell or magnet in a child: never missed, so the doubt goes to the alarm.

Certain or only possible, a cell or magnet swallowed, chewed, in mouth, nose or ear, or out of sight near a
child is an emergency. Only a swallowing of something harmless that is named, with no cell in the text, and
a plain "did not swallow" without a doubt beside it are not.
"""

from enum import Enum

from service.core.replies.items import Item

_HEDGES = frozenset({"hedge", "query", "question"})


class Alarm(Enum):
    """What the words about swallowing come to."""

    NONE = "none"
    LOOK = "look"
    EMERGENCY = "emergency"


def alarm(read: list[Item], cells: frozenset[str]) -> Alarm:
    """Whether the reply tells of a cell or magnet where it can burn a child."""
    swallowed = [at for at, item in enumerate(read) if item.can("swallow")]
    at_cells = [at for at, item in enumerate(read) if not cells.isdisjoint(item.text.split())]
    cell = bool(at_cells)
    if not swallowed:
        return Alarm.EMERGENCY if _is_out_of_sight(read, at_cells) else Alarm.NONE
    sure = any(read[at].can("surely") for at in swallowed)
    if not (sure or cell):
        return Alarm.NONE
    if not cell and any(item.can("harmless") for item in read):
        return Alarm.LOOK if sure else Alarm.NONE
    if all(_denied(read, at) for at in swallowed) and not any(item.role in _HEDGES for item in read):
        return Alarm.LOOK
    return Alarm.EMERGENCY


def _denied(read: list[Item], at: int) -> bool:
    return any(item.can("not") or item.role == "no" for item in read[max(0, at - 3) : at])


def _is_out_of_sight(read: list[Item], cells: list[int]) -> bool:
    """A cell that cannot be found: the words for both, close together."""
    lost = [at for at, item in enumerate(read) if item.can("gone_from_view") and item.text != "missing"]
    return any(abs(a - b) <= 8 for a in cells for b in lost)
