"""Small words beside a good one that may be a slip of a word that would turn it.

"ont ok" may be "not ok", "test ok" may be "rest ok", "been ok" may be "Ben ok", "ok is" may be "ok ish". Where
a harmless little word stands at such a place and is one slip from a word that matters, it counts as unknown,
so that the good word is asked about rather than believed.
"""

from itertools import pairwise

from service.core.replies.item import Item
from service.core.replies.near import is_one_edit

_GOOD = frozenset({"good", "fixed"})
# What "n" for "and" may follow without being taken for a slip of "no".
_JOINED = frozenset({"good", "fixed", "fixes", "fix"})
_LITTLE = frozenset(
    {"filler", "self", "and", "at", "within", "thanks", "greeting", "benign", "upto", "hours", "pronoun", "sounds"}
)
_BEFORE = ("not", "no", "isnt", "arent", "rest", "left", "right", "other", "others", "pas", "non", "sin", "never")
_AFTER = ("ish", "but", "bar", "just", "not", "bat", "if", "then", "cool", "them", "apart", "minus", "again")
_CERTAIN = frozenset(
    {"now", "its", "is", "so", "and", "it", "or", "are", "on", "he", "she", "in", "sound", "both", "son"}
    | {"los", "at", "hi", "hey", "cest"}
)
_GO_ON = frozenset({"the", "i", "to"})
_THINGS = frozenset({"elsewhere", "belonging", "chat", "excuse"})
_STORY = frozenset({"faults", "parts", "bad", "dead", "fixes", "fix", "notok", "still", "past", "away", "late"})
_NEWS = frozenset({"all", "both", "rest", "number", "name", "greeting", "self"})
_NEARLY_BUT = frozenset({"bus", "by", "put", "buy", "bit", "bug", "bud", "bun", "hut", "gut", "cut", "out", "nut"})
_RUN_TOGETHER = 14
_ALSO_SLIPS = frozenset({"bar", "bare", "save", "less", "ex", "bt", "btu", "nut", "vut"})
_PLAIN_GOOD = frozenset({"ok", "okay", "good", "fine", "working", "works", "work", "great", "bien", "bon"})
_DANGLING = frozenset({"and", "&", "+", "plus", "n", "y", "et"})
_ASKING = frozenset({"is", "are", "was", "were", "esta", "est"})
_UNFINISHED = frozenset({"is", "at", "of", "a", "an", "the", "to", "it", "his", "us"})


def distrust(read: list[Item], names: tuple[str, ...]) -> None:
    """Turn little words that may be a slip of a turning word into unknown ones, in place."""
    good = any(item.role in _GOOD for item in read)
    for at, item in enumerate(read):
        _distrust_alone(read, at, names)
        if good and at + 1 < len(read):
            _distrust_named(read, at)
        if item.role not in _GOOD and item.role != "all":
            continue
        ahead = _weighty_before(read, at)
        before = read[ahead] if at else None
        after = read[at + 1] if at + 1 < len(read) else None
        joins = before is not None and before.text == "n" and ahead > 0 and read[ahead - 1].role in _JOINED
        if before is not None and not joins and before.role in _LITTLE and _may_turn(before, names):
            before.role, before.value = "unknown", "slip"
        goes_on = at + 2 < len(read) and read[at + 2].role in _THINGS and after is not None and after.text in _GO_ON
        little = not goes_on and after is not None and (after.role in _LITTLE or after.can("plain"))
        if after is not None and little and after.text not in _CERTAIN and _is_near(after.text, _AFTER):
            after.role, after.value = "unknown", "slip"
    if not any(item.role in _STORY for item in read):
        _distrust_now(read)
    if good:
        _distrust_kisses(read)
        _distrust_ish(read)
        _distrust_run_together(read)
    if len(read) > 1 and read[0].text in _ASKING and read[1].role in ("number", "name"):
        read[0].role = "question"
    if read and read[-1].text in _DANGLING:
        read[-1].role, read[-1].value = "unknown", "slip"
    if read and read[-1].role in _LITTLE and read[-1].text in _UNFINISHED:
        read[-1].role, read[-1].value = "unknown", "slip"


def _weighty_before(read: list[Item], at: int) -> int:
    """The place before `at`, passing over words that stood within a phrase."""
    ahead = at - 1
    while ahead > 0 and read[ahead].inside:
        ahead -= 1
    return ahead


def _distrust_kisses(read: list[Item]) -> None:
    """"xxx" before a good word may be a name or a mark that was meant otherwise."""
    for at, item in enumerate(read):
        if item.text and not item.text.strip("x") and any(after.role in _GOOD for after in read[at + 1 : at + 4]):
            item.role, item.value = "unknown", "slip"


def _distrust_alone(read: list[Item], at: int, names: tuple[str, ...]) -> None:
    """Words that stand where they make no sense as what they are: "Ada L bar, ..." is hardly "except"."""
    item = read[at]
    after = read[at + 1].role if at + 1 < len(read) else ""
    alias = item.role in ("good", "other") and item.text not in _PLAIN_GOOD and _is_near(item.text, names)
    if alias or (item.text in _ALSO_SLIPS and after in ("", "soft", "hard")):
        item.role, item.value = "unknown", "slip"
    elif _is_then(read, at) or _is_loose_no(read, at):
        item.role = "hedge"
    elif at == 0 and after in ("but", "except") and item.role != "all" and _is_near(item.text, ("all",)):
        item.role, item.value = "unknown", "slip"


def _is_loose_no(read: list[Item], at: int) -> bool:
    """"No all ok", "no 1 ok 2 ok": neither an answer, which a comma sets off, nor a denial of anything."""
    role, after = read[at].role, read[at + 1].role if at + 1 < len(read) else ""
    if role not in ("no", "not"):
        return False
    good = next((item for item in read[at + 1 :] if not item.inside), Item(""))
    of_all = good.role == "good" and good.text.startswith(("everyone ", "everybody "))
    return after == "all" or (role == "no" and at == 0 and (after in _NEWS or of_all))


def _distrust_now(read: list[Item]) -> None:
    """"Now working" is one slip from "not working": it is believed only where trouble or a remedy was told."""
    for item, after in pairwise([*read, Item("")]):
        before_good = after.role in _GOOD or after.role == "all"
        if (item.text == "now" and before_good) or (item.role in _GOOD and item.text.startswith("now ")):
            item.role = "hedge"


def _distrust_named(read: list[Item], at: int) -> None:
    """"All fine bus 2 and 3 are out": a small word before a name that is one slip from "but"."""
    item, after = read[at], read[at + 1]
    if after.role in ("number", "name") and item.text in _NEARLY_BUT:
        item.role, item.value = "unknown", "slip"


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
