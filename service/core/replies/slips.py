"""Small words beside a good one that may be a slip of a word that would turn it.

"ont ok" may be "not ok", "test ok" may be "rest ok", "been ok" may be "Ben ok", "ok is" may be "ok ish". Where
a harmless little word stands at such a place and is one slip from a word that matters, it counts as unknown,
so that the good word is asked about rather than believed.
"""

from service.core.replies.item import Item
from service.core.replies.words import is_one_edit

_GOOD = frozenset({"good", "fixed"})
_LITTLE = frozenset(
    {"filler", "self", "and", "at", "within", "thanks", "greeting", "benign", "upto", "hours", "pronoun", "sounds"}
)
_BEFORE = ("not", "no", "isnt", "arent", "rest", "left", "right", "other", "others", "pas", "non", "sin", "never")
_AFTER = ("ish", "but", "bar", "just", "not", "bat", "if")
_CERTAIN = frozenset(
    {"now", "its", "is", "so", "and", "it", "or", "are", "on", "he", "she", "in", "sound", "hot", "both", "son"}
    | {"los", "at", "hi", "hey", "cest"}
)
_RUN_TOGETHER = 14
_ALSO_SLIPS = frozenset({"bar", "bare", "save", "less", "ex", "bt", "btu", "nut", "vut"})
_PLAIN_GOOD = frozenset({"ok", "okay", "good", "fine", "working", "works", "work", "great", "bien", "bon"})
_DANGLING = frozenset({"and", "&", "+", "plus", "n", "y", "et"})
_ASKING = frozenset({"is", "are", "was", "were", "esta", "est"})
_UNFINISHED = frozenset({"is", "at", "of", "a", "an", "the", "to", "it", "his", "us"})


def distrust(read: list[Item], names: tuple[str, ...]) -> None:
    """Turn little words that may be a slip of a turning word into unknown ones, in place."""
    for at, item in enumerate(read):
        _distrust_alone(read, at, names)
        if item.role not in _GOOD and item.role != "all":
            continue
        before = read[at - 1] if at else None
        after = read[at + 1] if at + 1 < len(read) else None
        if before is not None and before.role in _LITTLE and _may_turn(before, names):
            before.role = "unknown"
        if after is not None and after.role in _LITTLE and after.text not in _CERTAIN and _is_near(after.text, _AFTER):
            after.role = "unknown"
    for at, item in enumerate(read):
        if item.text and not item.text.strip("x") and any(after.role in _GOOD for after in read[at + 1 : at + 4]):
            item.role = "unknown"
    if any(item.role in _GOOD for item in read):
        _distrust_ish(read)
        _distrust_run_together(read)
    if len(read) > 1 and read[0].text in _ASKING and read[1].role in ("number", "name"):
        read[0].role = "question"
    if read and read[-1].text in _DANGLING:
        read[-1].role = "unknown"
    if read and read[-1].role in _LITTLE and read[-1].text in _UNFINISHED:
        read[-1].role = "unknown"


def _distrust_alone(read: list[Item], at: int, names: tuple[str, ...]) -> None:
    """Words that stand where they make no sense as what they are: "Ada L bar, ..." is hardly "except"."""
    item = read[at]
    after = read[at + 1].role if at + 1 < len(read) else ""
    alias = item.role in ("good", "other") and item.text not in _PLAIN_GOOD and _is_near(item.text, names)
    if alias or (item.text in _ALSO_SLIPS and after in ("", "soft", "hard")):
        item.role = "unknown"
    elif (item.role in ("no", "not") and after == "all") or _is_then(read, at):
        item.role = "hedge"
    elif at == 0 and after in ("but", "except") and item.role != "all" and _is_near(item.text, ("all",)):
        item.role = "unknown"


def _is_then(read: list[Item], at: int) -> bool:
    """ "Ok then" only answers us."""
    return read[at].text == "then" and at == len(read) - 1 and at > 0 and read[at - 1].role == "good"


def _distrust_ish(read: list[Item]) -> None:
    for at, item in enumerate(read):
        loose = item.role in ("unknown", "sounds") or (at > 0 and read[at - 1].text == "-" and item.role in _LITTLE)
        if loose and (item.text in ("is", "sh") or _is_near(item.text, ("ish",))):
            item.role = "hedge"


def _distrust_run_together(read: list[Item]) -> None:
    """Words typed without spaces may say anything."""
    for item in read:
        if item.role == "unknown" and len(item.text) >= _RUN_TOGETHER:
            item.role = "hedge"


def _may_turn(item: Item, names: tuple[str, ...]) -> bool:
    if not item.text.isalpha():
        return False
    if len(item.text) == 1 and item.text not in "iy":
        return True
    if not item.sure or (item.text == "on" and item.role == "filler"):
        return True
    return item.text not in _CERTAIN and (_is_near(item.text, names) or _is_near(item.text, _BEFORE))


def _is_near(text: str, turning: tuple[str, ...]) -> bool:
    return len(text) <= 7 and text.isalpha() and any(is_one_edit(text, word) for word in turning)
