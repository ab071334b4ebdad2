"""Trouble that is denied: "no whistling", "nobody lost anything", "not one dead battery", "none with problems".

A word for none denies the first trouble after it in its breath, and what belongs to that trouble; it denies no
good news but turns it. What is denied is neither bad news nor good, but a denial of trouble as such ("not a
single problem", "nobody missed a thing") is as good as "all ok" for whom it names.
"""

from service.core.replies.item import Item

_TROUBLE = frozenset({"faults", "bad", "dead", "notok", "away", "parts", "missed", "late", "swap"})
_BETWEEN = frozenset({"filler", "they", "past", "numbers", "benign", "heard", "nothing", "and", "pronoun", "self"})
_ANSWERS = frozenset({"no", "non"})
_PERSONAL = frozenset({"pronoun", "they", "self", "and", "past"})
_ENDS = frozenset({"hard", "soft", "query", "but", "except", ""})
_LINKS = frozenset({"or", "nor", "ni", "ou", "o", "and", "y", "et"})
_OF_THEM = frozenset({"out of", "from", "off"})
_THINGS = frozenset({"thing", "any", "anything", "nothing", "beat", "sound", "sounds", "single", "one", "seul", "son"})
_REACH = 8


def deny(read: list[Item]) -> None:
    """Mark in place what words for none deny, and what they turn."""
    for at, item in enumerate(read):
        if item.can("none") and item.role in ("no", "not", "missed", "filler", "away", "number"):
            _settle(read, at)


def _settle(read: list[Item], at: int) -> None:
    none = read[at]
    bare = none.text in _ANSWERS
    for place in range(at + 1, min(len(read), at + _REACH)):
        item = read[place]
        if item.role in ("good", "fixed") and none.can("nobody"):
            none.role = "all"
            item.role = "dead" if item.text.startswith(("work", "func", "fonc", "march")) else "notok"
            return
        if item.role in _TROUBLE and item.sure:
            _trouble(read, at, place, bare)
            return
        if item.role not in _BETWEEN or (bare and item.role in _PERSONAL):
            return


def _trouble(read: list[Item], at: int, place: int, bare: bool) -> None:
    """Deny the trouble at `place`, if "no" and its like at `at` speak of it."""
    none, item = read[at], read[place]
    after = read[place + 1] if place + 1 < len(read) else Item("")
    if item.role == "missed":
        if after.role == "nothing" or after.text in _THINGS or (after.text == "a" and not after.can("sounds")):
            _praise(read, at, place)
        return
    if item.role == "parts" and not none.can("nobody"):
        return
    if bare and item.role in ("bad", "dead", "late", "away") and after.role != "parts":
        return
    if item.role == "notok":
        if item.can("general") and (item.means["general"] == "plural" or none.can("emphatic")):
            _praise(read, at, place)
        elif none.can("nobody") or none.can("emphatic"):
            none.role, item.role = "filler", "denied"
        return
    if none.can("nobody") and _is_turned(read, place + 1):
        none.role = "hedge"
        return
    none.role = "filler"
    item.role = "denied"
    _belongings(read, place + 1, item.role)


def _is_turned(read: list[Item], place: int) -> bool:
    """Whether a good word follows in the same breath that may be what is denied ("none off them are ok")."""
    for item in read[place:]:
        if item.role in _ENDS or item.role in ("all", "rest", "number", "name"):
            return False
        if item.role in ("good", "fixed"):
            return not item.text.startswith("all ")
    return False


def _praise(read: list[Item], at: int, place: int) -> None:
    """Trouble as such is denied: good news; the parts named after it are what has no trouble."""
    for item in read[at + 1 : place + 1]:
        item.role = "filler"
    read[at].role = "good"
    read[at].means = {"good": ""}
    for item in read[place + 1 : place + _REACH]:
        if item.role in _ENDS:
            return
        if item.role in ("parts", "faults", "devices"):
            item.role = "denied"
        elif item.role == "nothing" or item.text in _OF_THEM or item.text in _THINGS:
            item.role = "filler"


def _belongings(read: list[Item], place: int, role: str) -> None:
    """What goes on about a denied trouble: its part, a second one after "or", "out of any of them"."""
    linked = True
    for item in read[place : place + _REACH]:
        if item.role in _ENDS:
            return
        if linked and item.role in ("parts", "faults", "bad"):
            item.role, linked = role, False
        elif item.text in _LINKS and item.role != "and":
            linked = True
        elif item.role == "nothing" or item.text in _OF_THEM or item.text in _THINGS:
            item.role = "filler"
        elif item.role != "filler":
            return
