"""Habits of telling: what a word is in the company it keeps, before breaths are cut.

People who write in a hurry take back and say anew, name themselves, tell of the room and of their own day, and ask
without a mark. Each step looks at one such habit and is found by the word or the role that it begins with; what
was done about a fault is the business of `stories`. No step adds good news.
"""

from collections.abc import Mapping

from service.core.reading import Asked
from service.core.replies.item import Item
from service.core.replies.occasions import (
    BETWEEN,
    BY_ROLE,
    BY_TEXT,
    ENDS,
    NAMES,
    NEWS,
    NONE,
    PAUSES,
    Step,
    next_item,
)
from service.core.replies.stories import STORIES, as_filler


def read_habits(found: list[Item], asked: Asked) -> None:
    """Give the words of `found`, in place, the roles that their company gives them."""
    _counts_of_all(found, asked)
    at = 0
    while at < len(found):
        for step in (_BY_TEXT.get(found[at].text), _BY_ROLE.get(found[at].role)):
            if step:
                step(found, at, asked)
        if found[at].can("undo"):
            _corrected_at_once(found, at)
        at += 1
    for at, item in enumerate(found):
        for story in STORIES.get(item.role, ()):
            story(found, at)


def _begins(found: list[Item], at: int, also: tuple[str, ...] = ()) -> bool:
    return not at or found[at - 1].role in (*ENDS, *also)


# -- taken back and said anew -----------------------------------------------------------------------------------


def _no(found: list[Item], at: int, _asked: Asked) -> None:
    """"No Tavi today" and "coil broken, no, meant Lark"."""
    if _nobody_of_that_name(found, at):
        return
    after = next((item for item in found[at + 1 :] if item.role not in BETWEEN), Item(""))
    if after.role == "correction" and at and found[at - 1].role in (*BETWEEN, "correction"):
        found[at].role = "filler"


def _nobody_of_that_name(found: list[Item], at: int) -> bool:
    """"No Tavi today": away, where the breath says nothing else."""
    end = at + 1
    while end < len(found) and found[end].role in (*NAMES, "and"):
        end += 1
    named = found[at + 1 : end]
    if not named or any(item.role == "number" for item in named) or (at and found[at - 1].role not in PAUSES):
        return False
    rest = next((item for item in found[end:] if item.role not in ("filler", "excuse")), NONE)
    if rest.role not in ("hard", "soft", "and", "query") and not rest.can("away"):
        return False
    found[at:end] = [*named, Item("away", text="no", means={"away": ""})]
    return True


def _corrected_at_once(found: list[Item], at: int) -> None:
    """"3 cable, scratch that, its the coil": taken back and said anew in one reply is a correction."""
    before = any(item.role in NEWS or item.role in NAMES for item in found[:at])
    anew = any(item.role in NEWS for item in found[at + 1 :])
    if before and anew and not _TAKING_BACK.isdisjoint(found[at].text.split()):
        found[at].role, found[at].means = "correction", {"correction": ""}


_TAKING_BACK = frozenset(
    {"scratch", "scrap", "ignore", "strike", "cancel", "delete", "forget", "nvm", "never", "nevermind", "disregard"}
    | {"undo", "take", "mistake"}
)


def _never_mind(found: list[Item], at: int, _asked: Asked) -> None:
    """"Never mind, all working": nothing is taken back where the news follows."""
    after = next((item for item in found[at + 1 :] if item.role not in BETWEEN), NONE)
    if not at and after.role == "good" and after.text.startswith(("all ", "every")):
        as_filler(found[at])


# -- asking -------------------------------------------------------------------------------------------------------


def _asks(found: list[Item], at: int, _asked: Asked) -> None:
    """"Is school closed tmrw": a sentence that begins so, and does not go on with its news, asks."""
    after = next_item(found, at)
    if found[at].text == "did" and after.role not in ("pronoun", "they", "self", "name") and after.text != "you":
        return
    closed = after.role == "away" and after.text.startswith("school")
    stated = after.role in _STATED and not closed
    if _begins(found, at, ("greeting",)) and not stated and not after.can("good"):
        found[at].role, found[at].means = "question", {"question": ""}
        after.role = "unknown" if closed else after.role


_ASKING = ("is", "are", "was", "were", "did", "do", "does", "has", "have", "will", "would", "can", "could")
_STATED = frozenset(
    {"good", "fixed", "all", "both", "rest", "away", "faults", "dead", "bad", "soft", "hard", "not", "no", "still"}
    | {"notyet", "late", "missed", "number", "name", "fixes", "fix", "parts", "notok", "gone", "query", "question"}
)


def _some_trouble(found: list[Item], at: int, _asked: Asked) -> None:
    """"Something up with 1R, cable maybe?": the trouble is certain, its cause is not."""
    later = found[at + 1 :]
    cause = next((item for item in later if item.role == "parts"), None)
    doubts = [item for item in later if item.role in ("hedge", "query")]
    good = any(item.role in ("good", "fixed", "hard") for item in later)
    if cause is None or not doubts or good or not found[at].text.startswith("something"):
        return
    found[at].role, found[at].value, found[at].means = "faults", "OTHER", {"faults": "OTHER", "torn": ""}
    for item in (cause, *doubts):
        item.role = "filler"


# -- who is meant ---------------------------------------------------------------------------------------------------


def _only_one(found: list[Item], at: int, _asked: Asked) -> None:
    """"Only 2 is out": bad news of one, no exception to anything said before."""
    said = next((item.role for item in found[at + 1 : at + 6] if item.role in NEWS or item.role in ENDS), "")
    others = any(item.role == "good" for item in found[:at])
    if not others and _begins(found, at, ("soft",)) and next_item(found, at).role in NAMES and said in _OF_ONE:
        found[at].role = "filler"


_OF_ONE = frozenset({"away", "faults", "parts", "bad", "dead", "gone"})


def _one(found: list[Item], at: int, _asked: Asked) -> None:
    """"Her right one", "one of me", "one adult": no student."""
    before = found[at - 1].role if at else ""
    beyond = [item.text for item in found[at + 1 : at + 3]]
    after = next_item(found, at)
    noun = found[at].role == "numbers" and (after.can("plain") or after.role in ("benign", "belonging"))
    noun = noun and before not in ("but", "except")
    if noun or before in ("sides", "devices", "pronoun") or beyond in (["of", "me"], ["of", "us"]):
        as_filler(found[at])


def _so_far(found: list[Item], at: int, asked: Asked) -> None:
    """"1-3 ok so far": of the others nothing is said yet; of these it is."""
    begin = max((here + 1 for here in range(at) if found[here].role in ENDS), default=0)
    said = found[begin:]
    named = {item.number for item in found if item.role in NAMES}
    wide = any(item.role in _WIDE or item.text.startswith("all ") for item in said)
    wide = wide or any(item.role in (*_WIDE, "good") for item in found[:begin])
    if named and len(named) < len(asked.students) and not wide and _is_good_of_the_named(said):
        as_filler(found[at])


_HALFWAY = ("so far", "half done", "halfway", "halfway through", "half")
_WIDE = ("all", "rest", "both")


def _is_good_of_the_named(breath: list[Item]) -> bool:
    """Whether good news, and no other, follows the names."""
    said = [item.role for item in breath if item.role in NEWS or item.role in NAMES or item.role == "unknown"]
    return said[-1:] == ["good"] and len(set(said)) > 1 and set(said) <= {"good", *NAMES}


def _counts_of_all(found: list[Item], asked: Asked) -> None:
    """"2 good 1 bad" of three: counts rather than numbers, as they are not in order and come to all."""
    numbers = [item for item in found if item.role == "number"]
    if len(numbers) != 2 or any(item.role == "name" for item in found):
        return
    one, two = numbers
    beside = [item.role for item in found if item.role not in ("number", "soft", "and", "filler", "thanks")]
    counted = one.number > two.number and one.number + two.number == len(asked.students)
    if counted and beside in (["good", "bad"], ["good", "notok"]):
        one.role = two.role = "hedge"


def _who_writes(found: list[Item], at: int, _asked: Asked) -> None:
    """"Its pat from the office covering for jen": names of who writes, and of whom they write for."""
    begins = all(item.role in _BEFORE_A_NAME for item in found[:at])
    at += 1
    while at < len(found) and found[at].text in ("is", "the", "for"):
        at += 1
    if at >= len(found) or found[at].role != "unknown" or not found[at].text.isalpha() or not begins:
        return
    after = next_item(found, at)
    known = after.text in _AFTER_A_NAME or after.role in ("staff", "room", "hard", "soft", "all")
    if known and len(found[at].text) <= _LONGEST_NAME:
        as_filler(found[at])


_NAMING_ONESELF = ("its", "this is", "im", "this", "for", "covering for", "subbing for", "sub for")
_BEFORE_A_NAME = frozenset({"greeting", "filler", "pronoun", "self", "soft", "hard", "staff"})
_AFTER_A_NAME = frozenset({"from", "in", "at", "with", "here", "covering for", "subbing", "the", "for"})
_LONGEST_NAME = 12


_BY_TEXT: Mapping[str, Step] = {
    **BY_TEXT, "no": _no, "only": _only_one, "one": _one, "never mind": _never_mind, "nvm": _never_mind,
    "nevermind": _never_mind, **dict.fromkeys(_ASKING, _asks), **dict.fromkeys(_HALFWAY, _so_far),
    **dict.fromkeys(_NAMING_ONESELF, _who_writes),
}  # fmt: skip
_BY_ROLE: Mapping[str, Step] = {**BY_ROLE, "notok": _some_trouble}
