"""Occasions: what is told of the room, the day and who writes, and what of it is no news of a pupil's device.

Steps like those of `habits`, found by the word or the role that they begin with. None adds good news.
"""

from collections.abc import Callable, Mapping

from service.core.reading import Asked
from service.core.replies.item import Item
from service.core.replies.stories import as_filler

ENDS = frozenset({"hard", "query"})
PAUSES = frozenset({"hard", "soft", "query", "and", "but", "except"})
NAMES = frozenset({"number", "name"})
NEWS = frozenset(
    {"faults", "parts", "bad", "dead", "fixes", "fix", "away", "good", "fixed", "notok", "missed", "gone"}
)
BETWEEN = frozenset({"soft", "filler", "hard"})
NONE = Item("hard")

Step = Callable[[list[Item], int, Asked], None]


def next_item(found: list[Item], at: int) -> Item:
    """The item after that at `at`; at the end, one that ends a sentence."""
    return found[at + 1] if at + 1 < len(found) else NONE


def _apology(found: list[Item], at: int, _asked: Asked) -> None:
    """"Sorry so late": the answer is late, and no child."""
    before = found[max(0, at - 3) : at]
    names = any(item.role in (*NAMES, "pronoun", "they") for item in before)
    if not names and any(item.text in _REGRETS for item in before):
        as_filler(found[at])


_REGRETS = frozenset({"sorry", "apologies", "perdon", "desole", "pardon"})


def _code_home(found: list[Item], at: int, _asked: Asked) -> None:
    """"2 home": right after a number or a side it is the code, and not where the child is."""
    before = found[at - 1].role if at else ""
    if before in ("number", "sides") and next_item(found, at).role in (*PAUSES, *NAMES):
        found[at].role, found[at].value, found[at].means = "faults", "HOME", {"faults": "HOME"}


def _absent(found: list[Item], at: int, _asked: Asked) -> None:
    """"Left her lunch at home", "we are on the field trip Thursday": neither is an absence today."""
    before = found[max(0, at - 3) : at]
    if found[at].text.startswith("at home") and any(item.role == "belonging" for item in before):
        as_filler(found[at])
        return
    named = found[at + 2 : at + 3]
    if found[at].text == "no school" and next_item(found, at).text == "for" and named and named[0].role in NAMES:
        found[at : at + 3] = [*named, Item("away", text="away", means={"away": ""})]
        return
    if found[at].text.startswith(("at ", "on ", "to ", "in ")) and _lost_before(found, at):
        as_filler(found[at])
        return
    after = next_item(found, at)
    good = any(item.role == "good" for item in found[:at])
    if good and _is_of_another_day(found, at):
        return
    if good and found[at].text in _NO_SCHOOL and after.role == "later" and not _DAYS.isdisjoint(after.text.split()):
        found[at].role, found[at].means = "chat", {}
        as_filler(after)
        return
    about_us = any(item.role in ("they", "self") for item in before)
    bounded = not _BOUNDS.isdisjoint(found[at].text.split())
    ahead = not bounded and after.text in _AHEAD and any(item.role in (*NAMES, "pronoun") for item in before)
    if after.role == "later" and (about_us or ahead) and not _DAYS.isdisjoint(after.text.split()):
        as_filler(found[at])
        as_filler(after)


def _is_of_another_day(found: list[Item], at: int) -> bool:
    """"All ok, Joss will be out tomorrow": no absence today, and nothing put off."""
    begin, end = at, at
    while begin > 0 and found[begin - 1].role not in PAUSES:
        begin -= 1
    while end < len(found) and found[end].role not in PAUSES:
        end += 1
    days = [here for here in range(at + 1, end) if not _DAYS.isdisjoint(found[here].text.split())]
    bounded = any(not _BOUNDS.isdisjoint(item.text.split()) for item in found[at:end])
    other = any(item.role in NEWS and item is not found[at] for item in found[begin:end])
    if not days or bounded or other or not any(item.role == "name" for item in found[begin:at]):
        return False
    for item in found[begin:end]:
        if item is found[at] or item.role in ("later", "past", "not"):
            item.role, item.value, item.means = "chat", "", {}
    return True


_BOUNDS = frozenset({"till", "until", "til", "since", "from", "through", "back", "hasta", "jusqua", "depuis", "desde"})


def _lost_before(found: list[Item], at: int) -> bool:
    """Whether a device was lost, forgotten or wetted in the same breath: the place is where that was."""
    for item in reversed(found[:at]):
        if item.role in PAUSES:
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
        if item.role in PAUSES:
            return
        if item.role in ("parts", "devices"):
            item.role, item.means = "denied", {}


def _until(found: list[Item], at: int, _asked: Asked) -> None:
    """"We're in the gym till 9": how long the class is somewhere puts no check off."""
    begin, end = at, at
    while begin > 0 and found[begin - 1].role not in (*PAUSES, "good", "fixed"):
        begin -= 1
    while end < len(found) and found[end].role not in PAUSES:
        end += 1
    breath = [item for item in found[begin:end] if item is not found[at]]
    ours = any(item.role in ("self", "they") for item in breath)
    place = any(item.role in ("room", "excuse") or item.text in _SCHOOL_PLACES for item in breath)
    other = any(item.role in _TURNED or not _CHORES.isdisjoint(item.text.split()) for item in breath)
    if begin and ours and place and not other:
        as_filler(found[at])


_SCHOOL_PLACES = frozenset({"gym", "library", "hall", "cafeteria", "playground", "hallway", "music", "art", "lab"})
_TURNED = frozenset({*NEWS, *NAMES, "pronoun", "all", "rest", "not", "no", "notyet", "late", "later"})
_CHORES = frozenset(
    {"check", "checking", "checks", "do", "doing", "done", "test", "testing", "look", "looking", "listen", "see", "it"}
    | {"them", "get", "try", "bring", "fix", "be", "know", "update", "ready", "ok", "wait", "will", "ill", "when"}
)


def _animal(found: list[Item], at: int, _asked: Asked) -> None:
    """"The hamster got out": an animal that got nothing of a child's."""
    if not found[at].text.endswith((" got", " has", " had")):
        return
    after = next_item(found, at)
    if after.role not in ("pronoun", "they", "parts", "devices", "sides", *NAMES) and after.text not in _THINGS:
        found[at].role, found[at].value, found[at].means = "elsewhere", "", {"elsewhere": ""}


_THINGS = frozenset({"it", "them", "one", "hold", "at"})


def _needs(found: list[Item], at: int, _asked: Asked) -> None:
    """"Tao needs a new cable": the fault that a part is wanted for, and no plea."""
    needs = found[at].text.startswith("need") and not found[at].text.endswith(("loaner", "spare"))
    whose = any(item.role in (*NAMES, "pronoun", "sides") for item in found[max(0, at - 3) : at])
    if needs and whose and next_item(found, at).role in ("parts", "faults"):
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
    if not (found[at].text.endswith(" for") or next_item(found, at).text == "for"):
        return
    end = at + 1
    while end < len(found) and found[end].role not in PAUSES:
        end += 1
    breath = found[at + 1 : end]
    if not any(item.role in NEWS or item.role in (*NAMES, "not", "no", "notyet") for item in breath):
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
        if item.role in PAUSES:
            break
        breath.append(item)
    place = any(item.role == "belonging" or item.text in _KEPT for item in breath)
    inside = any(item.text == "in" for item in breath)
    if place and inside and not any(item.role in NEWS or item.role in ("not", "no") for item in breath):
        found[at].role, found[at].means = "denied", {}


_KEPT = frozenset({"desk", "drawer", "pouch", "pocket", "cubby", "backpack", "bag", "office", "cupboard"})


def _out_ahead(found: list[Item], at: int, _asked: Asked) -> None:
    """"I'm out tomorrow": who will not be here on another day answers today."""
    good = any(item.role == "good" for item in found[:at])
    for other in (next_item(found, at), found[at - 1] if at else NONE):
        if good and other.role == "later" and not _DAYS.isdisjoint(other.text.split()):
            as_filler(found[at])
            as_filler(other)


def _put_right(found: list[Item], at: int, _asked: Asked) -> None:
    """"Put em right", "right after the pledge": no side."""
    beyond = found[at + 2].role if len(found) > at + 2 else ""
    idle = next_item(found, at).text in _RIGHT_THEN and beyond not in NEWS
    if (at and found[at - 1].text in _PUT) or idle:
        as_filler(found[at])


_RIGHT_THEN = frozenset({"now", "after", "before", "away", "on time", "when"})
_PUT = frozenset({"em", "them", "it", "that", "theyre", "put them", "put it"})


# Which step looks at a word, by what it says or by its role.
BY_TEXT: Mapping[str, Step] = {
    "late": _apology, "home": _code_home, "right": _put_right, "turned": _birthday, "turns": _birthday,
    "turning": _birthday, "till": _until, "until": _until, "til": _until, "took": _took, "takes": _took,
    "says": _tells_of_family, "show me": _show,
}  # fmt: skip
BY_ROLE: Mapping[str, Step] = {
    "away": _absent, "faults": _animal, "please": _needs, "notme": _out_ahead, "thanks": _thanked,
    "chat": _told_about, "gone": _moved_to, "parts": _kept_in,
}  # fmt: skip
