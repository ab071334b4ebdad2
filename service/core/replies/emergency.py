"""A cell or magnet in a child: never missed, so the doubt goes to the alarm.

Certain or only possible, a cell or magnet swallowed, chewed, in mouth, nose or ear, or out of sight near a
child is an emergency. Only a swallowing of something harmless that is named, with no cell in the text, and
a plain "did not swallow" without a doubt beside it are not.
"""

import re
from collections.abc import Sequence
from enum import Enum
from itertools import pairwise

from service.core.replies.item import Item
from service.core.replies.items import MOST_TOKENS
from service.core.replies.near import is_one_edit
from service.core.replies.tokens import Token
from service.core.replies.words import Words, trigrams

_HEDGES = frozenset({"hedge", "query", "question"})

_WHOSE = frozenset({"his", "her", "their", "la", "su", "sa"})
_ATE_SLIPS = frozenset({"atte", "atee", "atr", "atw", "aet", "ste", "zte", "qte", "aate", "ats", "heate", "sheate"})
_SHORTEST_SLIP = 3
_NO_LETTER = re.compile(r"[\W\d_]+")
_NEVER_A_CELL = frozenset({"number", "name", "soft", "hard", "query"})
_SOUGHT = frozenset({"find", "found", "locate", "nowhere", "vanished", "disappeared", "searched", "everywhere"})
_GONE = frozenset({"gone", "missing", "lost"})


class Alarm(Enum):
    """What the words about swallowing come to."""

    NONE = "none"
    LOOK = "look"
    EMERGENCY = "emergency"


def alarm(read: list[Item], typed: Sequence[Token], words: Words) -> Alarm:
    """Whether the reply, whose words are `typed`, tells of a cell or magnet where it can burn a child."""
    text = _letters(typed, words.known)
    threes = trigrams(text)
    swallowed = [at for at, item in enumerate(read) if "swallow" in item.means]
    at_cells = [at for at, item in enumerate(read) if _is_cell(item, words)]
    sure = any(read[at].can("surely") for at in swallowed)
    heard = words.stems["swallow"].found(text, threes)
    cell = bool(at_cells) or words.stems["cell"].found(text, threes)
    if not (sure or heard):
        cell = cell or _nearly_a_cell(read, words)
        if not cell:
            return Alarm.LOOK if swallowed and _is_something_strange(read, words) else Alarm.NONE
        return _from_signs(read, typed, text, at_cells, bool(swallowed), words)
    if not cell and any(item.can("harmless") for item in read):
        return Alarm.LOOK
    if (
        swallowed
        and all(_denied(read, at) for at in swallowed)
        and not any(item.role in _HEDGES for item in read)
    ):
        return Alarm.LOOK
    return Alarm.EMERGENCY


def _letters(typed: Sequence[Token], known_words: frozenset[str]) -> str:
    """The letters of the reply, with a space only between two words that are both listed: a stem may be broken
    by a slip of the space bar, but "everything est" holds no "ingest".
    """
    joined: list[str] = []
    listed = False
    for token in typed:
        word = token.word if token.word.isalpha() else _NO_LETTER.sub("", token.word)
        known = token.word in known_words
        joined += [" ", word] if known and listed else [word]
        listed = known
    return "".join(joined)


def _is_cell(item: Item, words: Words) -> bool:
    if item.role in _NEVER_A_CELL:
        return False
    return not words.cells.isdisjoint(item.text.split()) or (item.means.get("parts") in ("BAT", "MAGNET"))


def _from_signs(
    read: list[Item], typed: Sequence[Token], text: str, at_cells: list[int], mouthed: bool, words: Words
) -> Alarm:
    """What the signs beside a cell come to: a mouth or nose, a cell out of sight with a child in trouble."""
    names = {item.text for item in read if item.role == "name"}
    spoken = [token.word for token in typed if token.word.removesuffix("s") not in names]
    across = text.replace(" ", "")
    heard = mouthed or words.stems["mouth"].found(text, trigrams(text)) or _is_nearly_in_a_mouth(spoken, words)
    heard = heard or words.stems["across"].found(across, trigrams(across))
    if heard and "dog" not in text:
        return Alarm.EMERGENCY
    ill = any(item.can("distress") for item in read) and any(_is_gone(item) for item in read)
    if ill or _is_out_of_sight(read, at_cells):
        return Alarm.EMERGENCY
    return Alarm.LOOK if _is_nearly_eaten(read, words) else Alarm.NONE


def _nearly_a_cell(read: list[Item], words: Words) -> bool:
    """Whether a word that nobody listed is one slip from "battery" or "magnet"."""
    strange = {item.text for item in read if item.role == "unknown"}
    return any(words.is_slip_of_cell(word) for word in strange)


def _is_something_strange(read: list[Item], words: Words) -> bool:
    """Whether a word that may be a slip of trouble, or of a cell, stands beside a mouth, and nothing harmless does."""
    strange = any(not item.sure or (item.role == "unknown" and item.value == "odd") for item in read)
    strange = strange or any(is_one_edit(item.text, cell) for item in read if item.text for cell in words.cells)
    return strange and not any(item.can("harmless") for item in read)


def _is_nearly_in_a_mouth(typed: list[str], words: Words) -> bool:
    """Whether a word is one slip from "nose" or "chewed"; a listed word only after "in his" and its like."""
    for before, word in pairwise(["", *typed[:MOST_TOKENS]]):
        strange = word not in words.known
        if len(word) < _SHORTEST_SLIP or not (strange or before in _WHOSE):
            continue
        if words.is_slip_of_mouth(word) or (strange and word in _ATE_SLIPS):
            return True
    return False


def _is_nearly_eaten(read: list[Item], words: Words) -> bool:
    """ "Ben at the battery": right after who it is, and right before a cell, "at" may be "ate"."""
    for before, item, after in zip(read, read[1:], read[2:], strict=False):
        if before.role not in ("name", "number", "pronoun") or not is_one_edit(item.text, "ate"):
            continue
        beyond = read[read.index(after) + 1 :][:1]
        if any(_is_cell(near, words) for near in (after, *beyond)):
            return True
    return False


def _denied(read: list[Item], at: int) -> bool:
    """Whether "not" or its like stands before the swallowing. A "no" that answers something else ("no, she
    swallowed it") denies nothing; right before it, or as "no 1", it may.
    """
    before = read[max(0, at - 3) : at]
    if any(item.can("not") and item.text != "no" for item in before):
        return True
    near = [item.text for item in read[max(0, at - 2) : at]]
    return near[-1:] == ["no"] or near == ["no", "1"]


def _is_gone(item: Item) -> bool:
    return item.can("gone_from_view") or not _GONE.isdisjoint(item.text.split())


def _is_sought(item: Item) -> bool:
    """Whether something cannot be found."""
    lost = item.value == "LOST" and not _SOUGHT.isdisjoint(item.text.split())
    return lost or item.can("gone_from_view")


def _is_out_of_sight(read: list[Item], cells: list[int]) -> bool:
    """A cell that cannot be found: the words for both, close together."""
    gone = (at for at, item in enumerate(read) if _is_sought(item) and item.role != "denied")
    lost = [at for at in gone if read[at].text != "missing"]
    return any(abs(a - b) <= 8 for a in cells for b in lost)
