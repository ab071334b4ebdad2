"""A cell or magnet in a child: never missed, so the doubt goes to the alarm.

Certain or only possible, a cell or magnet swallowed, chewed, in mouth, nose or ear, or out of sight near a
child is an emergency. Only a swallowing of something harmless that is named, with no cell in the text, and
a plain "did not swallow" without a doubt beside it are not.
"""

from enum import Enum

from service.core.replies.item import Item
from service.core.replies.words import Words, is_one_edit, trigrams

_HEDGES = frozenset({"hedge", "query", "question"})

_GONE = frozenset({"gone", "missing", "lost"})


class Alarm(Enum):
    """What the words about swallowing come to."""

    NONE = "none"
    LOOK = "look"
    EMERGENCY = "emergency"


def alarm(read: list[Item], text: str, words: Words) -> Alarm:
    """Whether the reply tells of a cell or magnet where it can burn a child; `text` is the reply in letters only."""
    threes = trigrams(text)
    swallowed = [at for at, item in enumerate(read) if item.can("swallow")]
    at_cells = [at for at, item in enumerate(read) if _is_cell(item, words)]
    sure = any(read[at].can("surely") for at in swallowed)
    heard = words.stems["swallow"].found(text, threes)
    cell = bool(at_cells) or words.stems["cell"].found(text, threes)
    if not (sure or heard):
        if cell and "dog" not in text and (
            swallowed or words.stems["mouth"].found(text, threes) or _is_nearly_in_a_mouth(read, words)
        ):
            return Alarm.EMERGENCY
        ill = cell and any(item.can("distress") for item in read) and any(_is_gone(item) for item in read)
        return Alarm.EMERGENCY if ill or _is_out_of_sight(read, at_cells) else Alarm.NONE
    if not cell and any(item.can("harmless") for item in read):
        return Alarm.LOOK
    if swallowed and all(_denied(read, at) for at in swallowed) and not any(item.role in _HEDGES for item in read):
        return Alarm.LOOK
    return Alarm.EMERGENCY


def _is_cell(item: Item, words: Words) -> bool:
    return not words.cells.isdisjoint(item.text.split()) or (
        "parts" in item.means and item.means["parts"] == "BAT"
    )


def _is_nearly_in_a_mouth(read: list[Item], words: Words) -> bool:
    return any(
        is_one_edit(item.text, mouth) for item in read if item.role == "unknown" for mouth in words.mouths
    )


def _denied(read: list[Item], at: int) -> bool:
    return any(item.can("not") or item.role == "no" for item in read[max(0, at - 3) : at])


def _is_gone(item: Item) -> bool:
    return item.can("gone_from_view") or not _GONE.isdisjoint(item.text.split())


def _is_out_of_sight(read: list[Item], cells: list[int]) -> bool:
    """A cell that cannot be found: the words for both, close together."""
    lost = [at for at, item in enumerate(read) if item.can("gone_from_view") and item.text != "missing"]
    return any(abs(a - b) <= 8 for a in cells for b in lost)
