"""Habits of telling: what a word is in the company it keeps, before breaths are cut.

People who write in a hurry take back and say anew, name themselves, tell of the room and of their own day, and ask
without a mark. Each step looks at one such habit and is found by the word or the role that it begins with; what
was done about a fault is the business of `stories`. No step adds good news.
"""

from collections.abc import Callable, Mapping

from service.core.reading import Asked
from service.core.replies.item import Item
from service.core.replies.stories import STORIES, as_filler

_ENDS = frozenset({"hard", "query"})
_PAUSES = frozenset({"hard", "soft", "query", "and", "but", "except"})
_NAMES = frozenset({"number", "name"})
_NEWS = frozenset(
    {"faults", "parts", "bad", "dead", "fixes", "fix", "away", "good", "fixed", "notok", "missed", "gone"}
)
_BETWEEN = frozenset({"soft", "filler", "hard"})
_NONE = Item("hard")

Step = Callable[[list[Item], int, Asked], None]


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


def _after(found: list[Item], at: int) -> Item:
    return found[at + 1] if at + 1 < len(found) else _NONE


def _begins(found: list[Item], at: int, also: tuple[str, ...] = ()) -> bool:
    return not at or found[at - 1].role in (*_ENDS, *also)


# -- taken back and said anew -----------------------------------------------------------------------------------


def _no(found: list[Item], at: int, _asked: Asked) -> None:
    """"No Tavi today" and "coil broken, no, meant Lark"."""
    if _nobody_of_that_name(found, at):
        return
    after = next((item for item in found[at + 1 :] if item.role not in _BETWEEN), Item(""))
    if after.role == "correction" and at and found[at - 1].role in (*_BETWEEN, "correction"):
        found[at].role = "filler"


def _nobody_of_that_name(found: list[Item], at: int) -> bool:
    """"No Tavi today": away, where the breath says nothing else."""
    end = at + 1
    while end < len(found) and found[end].role in (*_NAMES, "and"):
        end += 1
    named = found[at + 1 : end]
    if not named or any(item.role == "number" for item in named) or (at and found[at - 1].role not in _PAUSES):
        return False
    rest = next((item for item in found[end:] if item.role not in ("filler", "excuse")), _NONE)
    if rest.role not in ("hard", "soft", "and", "query") and not rest.can("away"):
        return False
    found[at:end] = [*named, Item("away", text="no", means={"away": ""})]
    return True


def _corrected_at_once(found: list[Item], at: int) -> None:
    """"3 cable, scratch that, its the coil": taken back and said anew in one reply is a correction."""
    before = any(item.role in _NEWS or item.role in _NAMES for item in found[:at])
    anew = any(item.role in _NEWS for item in found[at + 1 :])
    if before and anew and not _TAKING_BACK.isdisjoint(found[at].text.split()):
        found[at].role, found[at].means = "correction", {"correction": ""}


_TAKING_BACK = frozenset(
    {"scratch", "scrap", "ignore", "strike", "cancel", "delete", "forget", "nvm", "never", "nevermind", "disregard"}
    | {"undo", "take", "mistake"}
)


# -- asking -------------------------------------------------------------------------------------------------------


def _asks(found: list[Item], at: int, _asked: Asked) -> None:
    """"Is school closed tmrw": a sentence that begins so, and does not go on with its news, asks."""
    after = _after(found, at)
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
    said = next((item.role for item in found[at + 1 : at + 6] if item.role in _NEWS or item.role in _ENDS), "")
    if _begins(found, at, ("soft",)) and _after(found, at).role in _NAMES and said in _OF_ONE:
        found[at].role = "filler"


_OF_ONE = frozenset({"away", "faults", "parts", "bad", "dead", "gone"})


def _one(found: list[Item], at: int, _asked: Asked) -> None:
    """"Her right one", "one of me", "one adult": no student."""
    before = found[at - 1].role if at else ""
    beyond = [item.text for item in found[at + 1 : at + 3]]
    after = _after(found, at)
    noun = found[at].role == "numbers" and (after.can("plain") or after.role in ("benign", "belonging"))
    noun = noun and before not in ("but", "except")
    if noun or before in ("sides", "devices", "pronoun") or beyond in (["of", "me"], ["of", "us"]):
        as_filler(found[at])


def _so_far(found: list[Item], at: int, asked: Asked) -> None:
    """"1-3 ok so far": of the others nothing is said yet; of these it is."""
    begin = max((here + 1 for here in range(at) if found[here].role in _ENDS), default=0)
    said = found[begin:]
    named = {item.number for item in found if item.role in _NAMES}
    wide = any(item.role in _WIDE or item.text.startswith("all ") for item in said)
    wide = wide or any(item.role in (*_WIDE, "good") for item in found[:begin])
    if named and len(named) < len(asked.students) and not wide and _is_good_of_the_named(said):
        as_filler(found[at])


_HALFWAY = ("so far", "half done", "halfway", "halfway through", "half")
_WIDE = ("all", "rest", "both")


def _is_good_of_the_named(breath: list[Item]) -> bool:
    """Whether good news, and no other, follows the names."""
    said = [item.role for item in breath if item.role in _NEWS or item.role in _NAMES or item.role == "unknown"]
    return said[-1:] == ["good"] and len(set(said)) > 1 and set(said) <= {"good", *_NAMES}


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
    after = _after(found, at)
    known = after.text in _AFTER_A_NAME or after.role in ("staff", "room", "hard", "soft", "all")
    if known and len(found[at].text) <= _LONGEST_NAME:
        as_filler(found[at])


_NAMING_ONESELF = ("its", "this is", "im", "this", "for", "covering for", "subbing for", "sub for")
_BEFORE_A_NAME = frozenset({"greeting", "filler", "pronoun", "self", "soft", "hard", "staff"})
_AFTER_A_NAME = frozenset({"from", "in", "at", "with", "here", "covering for", "subbing", "the", "for"})
_LONGEST_NAME = 12


# -- the room and the day -----------------------------------------------------------------------------------------


def _apology(found: list[Item], at: int, _asked: Asked) -> None:
    """"Sorry so late": the answer is late, and no child."""
    before = found[max(0, at - 3) : at]
    names = any(item.role in (*_NAMES, "pronoun", "they") for item in before)
    if not names and any(item.text in _REGRETS for item in before):
        as_filler(found[at])


_REGRETS = frozenset({"sorry", "apologies", "perdon", "desole", "pardon"})


def _code_home(found: list[Item], at: int, _asked: Asked) -> None:
    """"2 home": right after a number or a side it is the code, and not where the child is."""
    before = found[at - 1].role if at else ""
    if before in ("number", "sides") and _after(found, at).role in (*_PAUSES, *_NAMES):
        found[at].role, found[at].value, found[at].means = "faults", "HOME", {"faults": "HOME"}


def _absent(found: list[Item], at: int, _asked: Asked) -> None:
    """"Left her lunch at home", "we are on the field trip Thursday": neither is an absence today."""
    before = found[max(0, at - 3) : at]
    if found[at].text.startswith("at home") and any(item.role == "belonging" for item in before):
        as_filler(found[at])
        return
    named = found[at + 2 : at + 3]
    if found[at].text == "no school" and _after(found, at).text == "for" and named and named[0].role in _NAMES:
        found[at : at + 3] = [*named, Item("away", text="away", means={"away": ""})]
        return
    if found[at].text.startswith(("at ", "on ", "to ", "in ")) and _lost_before(found, at):
        as_filler(found[at])
        return
    after = _after(found, at)
    good = any(item.role == "good" for item in found[:at])
    if good and found[at].text in _NO_SCHOOL and after.role == "later" and not _DAYS.isdisjoint(after.text.split()):
        found[at].role, found[at].means = "chat", {}
        as_filler(after)
        return
    about_us = any(item.role in ("they", "self") for item in before)
    ahead = after.text in _AHEAD and any(item.role in (*_NAMES, "pronoun") for item in before)
    if after.role == "later" and (about_us or ahead) and not _DAYS.isdisjoint(after.text.split()):
        as_filler(found[at])
        as_filler(after)


def _lost_before(found: list[Item], at: int) -> bool:
    """Whether a device was lost, forgotten or wetted in the same breath: the place is where that was."""
    for item in reversed(found[:at]):
        if item.role in _PAUSES:
            return False
        if item.role == "faults" and item.value in ("LOST", "HOME", "WET", "OTHER", "KNOCK"):
            return True
    return False


_NO_SCHOOL = frozenset({"no school", "no class", "no classes", "school closed", "no hay clases", "pas decole"})
_AHEAD = frozenset({"tomorrow", "tmrw", "next week", "tomoro", "manana", "demain"})
_DAYS = frozenset(
    {"monday", "tuesday", "wednesday", "thursday", "friday", "mon", "tues", "tue", "wed", "thurs", "thu", "fri"}
    | {"tomorrow", "tmrw", "weekend", "next", "manana", "lunes", "martes", "miercoles", "jueves", "viernes"}
    | {"demain", "lundi", "mardi", "mercredi", "jeudi", "vendredi"}
)


def _birthday(found: list[Item], at: int, _asked: Asked) -> None:
    """"Cal turns 9 tomorrow"."""
    if len(found) > at + 2 and found[at + 1].role == "filler" and found[at + 2].role == "later":
        as_filler(found[at + 2])


def _took(found: list[Item], at: int, _asked: Asked) -> None:
    """"Only took 2 minutes": how long the check was; no exception, and no wish to wait."""
    if at and found[at - 1].text in ("only", "just"):
        as_filler(found[at - 1])
    for item in found[at + 1 : at + 4]:
        if item.role == "wait":
            as_filler(item)


def _told_about(found: list[Item], at: int, _asked: Asked) -> None:
    """"Emailed you about the FM": what was written about is no news of it."""
    if not found[at].text.endswith((" about", " re", " regarding")):
        return
    for item in found[at + 1 : at + 5]:
        if item.role in _PAUSES:
            return
        if item.role in ("parts", "devices"):
            item.role, item.means = "denied", {}


def _until(found: list[Item], at: int, _asked: Asked) -> None:
    """"We're in the gym till 9": how long the class is somewhere puts no check off."""
    begin, end = at, at
    while begin > 0 and found[begin - 1].role not in (*_PAUSES, "good", "fixed"):
        begin -= 1
    while end < len(found) and found[end].role not in _PAUSES:
        end += 1
    breath = [item for item in found[begin:end] if item is not found[at]]
    ours = any(item.role in ("self", "they") for item in breath)
    place = any(item.role in ("room", "excuse") or item.text in _SCHOOL_PLACES for item in breath)
    other = any(item.role in _TURNED or not _CHORES.isdisjoint(item.text.split()) for item in breath)
    if begin and ours and place and not other:
        as_filler(found[at])


_SCHOOL_PLACES = frozenset({"gym", "library", "hall", "cafeteria", "playground", "hallway", "music", "art", "lab"})
_TURNED = frozenset({*_NEWS, *_NAMES, "pronoun", "all", "rest", "not", "no", "notyet", "late", "later"})
_CHORES = frozenset(
    {"check", "checking", "checks", "do", "doing", "done", "test", "testing", "look", "looking", "listen", "see", "it"}
    | {"them", "get", "try", "bring", "fix", "be", "know", "update", "ready", "ok", "wait", "will", "ill", "when"}
)


def _animal(found: list[Item], at: int, _asked: Asked) -> None:
    """"The hamster got out": an animal that got nothing of a child's."""
    if not found[at].text.endswith((" got", " has", " had")):
        return
    after = _after(found, at)
    if after.role not in ("pronoun", "they", "parts", "devices", "sides", *_NAMES) and after.text not in _THINGS:
        found[at].role, found[at].value, found[at].means = "elsewhere", "", {"elsewhere": ""}


_THINGS = frozenset({"it", "them", "one", "hold", "at"})


def _needs(found: list[Item], at: int, _asked: Asked) -> None:
    """"Tao needs a new cable": the fault that a part is wanted for, and no plea."""
    needs = found[at].text.startswith("need") and not found[at].text.endswith(("loaner", "spare"))
    whose = any(item.role in (*_NAMES, "pronoun", "sides") for item in found[max(0, at - 3) : at])
    if needs and whose and _after(found, at).role in ("parts", "faults"):
        as_filler(found[at])


def _tells_of_family(found: list[Item], at: int, _asked: Asked) -> None:
    """"Mika says her brother is sick": told of somebody else, and no doubt of the news."""
    before = found[at - 1].role if at else ""
    if before == "name" and any(item.role == "staff" for item in found[at + 1 : at + 4]):
        as_filler(found[at])


def _show(found: list[Item], at: int, _asked: Asked) -> None:
    """"Excited to show me their new covers": no plea for help."""
    if at and found[at - 1].text in ("to", "wanted to", "will"):
        as_filler(found[at])


def _thanked(found: list[Item], at: int, _asked: Asked) -> None:
    """"Thanks for coming yesterday": what somebody is thanked for is over, and turns nothing."""
    if not (found[at].text.endswith(" for") or _after(found, at).text == "for"):
        return
    end = at + 1
    while end < len(found) and found[end].role not in _PAUSES:
        end += 1
    breath = found[at + 1 : end]
    if not any(item.role in _NEWS or item.role in (*_NAMES, "not", "no", "notyet") for item in breath):
        for item in breath:
            if item.role in ("past", "later", "mine", "hedge", "within"):
                as_filler(item)


def _moved_to(found: list[Item], at: int, _asked: Asked) -> None:
    """"Meeting moved to 3": a thing of the school's day was moved, and no child."""
    before = found[at - 1].role if at else ""
    if before not in ("excuse", "elsewhere", "belonging"):
        return
    as_filler(found[at])
    for item in found[at + 1 : at + 4]:
        if item.role == "number":
            as_filler(item)


def _kept_in(found: list[Item], at: int, _asked: Asked) -> None:
    """"His batteries are in his backpack": where a spare is, and no fault."""
    breath: list[Item] = []
    for item in found[at + 1 :]:
        if item.role in _PAUSES:
            break
        breath.append(item)
    place = any(item.role == "belonging" or item.text in _KEPT for item in breath)
    inside = any(item.text == "in" for item in breath)
    if place and inside and not any(item.role in _NEWS or item.role in ("not", "no", "no") for item in breath):
        found[at].role, found[at].means = "denied", {}


_KEPT = frozenset({"desk", "drawer", "pouch", "pocket", "cubby", "backpack", "bag", "office", "cupboard"})


def _never_mind(found: list[Item], at: int, _asked: Asked) -> None:
    """"Never mind, all working": nothing is taken back where the news follows."""
    after = next((item for item in found[at + 1 :] if item.role not in _BETWEEN), _NONE)
    if not at and after.role == "good" and after.text.startswith(("all ", "every")):
        as_filler(found[at])


def _out_ahead(found: list[Item], at: int, _asked: Asked) -> None:
    """"I'm out tomorrow": who will not be here on another day answers today."""
    good = any(item.role == "good" for item in found[:at])
    for other in (_after(found, at), found[at - 1] if at else _NONE):
        if good and other.role == "later" and not _DAYS.isdisjoint(other.text.split()):
            as_filler(found[at])
            as_filler(other)


def _put_right(found: list[Item], at: int, _asked: Asked) -> None:
    """"Put em right", "right after the pledge": no side."""
    beyond = found[at + 2].role if len(found) > at + 2 else ""
    idle = _after(found, at).text in _RIGHT_THEN and beyond not in _NEWS
    if (at and found[at - 1].text in _PUT) or idle:
        as_filler(found[at])


_RIGHT_THEN = frozenset({"now", "after", "before", "away", "on time", "when"})
_PUT = frozenset({"em", "them", "it", "that", "theyre", "put them", "put it"})

_BY_TEXT: Mapping[str, Step] = {
    "no": _no, "only": _only_one, "one": _one, "late": _apology, "home": _code_home, "right": _put_right,
    "turned": _birthday, "turns": _birthday, "turning": _birthday, "till": _until, "until": _until, "til": _until,
    "never mind": _never_mind, "nvm": _never_mind, "nevermind": _never_mind, "says": _tells_of_family, "show me": _show, "took": _took, "takes": _took,
    **dict.fromkeys(_ASKING, _asks), **dict.fromkeys(_HALFWAY, _so_far), **dict.fromkeys(_NAMING_ONESELF, _who_writes),
}  # fmt: skip
_BY_ROLE: Mapping[str, Step] = {
    "notok": _some_trouble, "away": _absent, "faults": _animal, "please": _needs,
    "notme": _out_ahead, "thanks": _thanked, "chat": _told_about,
    "gone": _moved_to, "parts": _kept_in,
}  # fmt: skip
