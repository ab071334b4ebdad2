"""Items to segments: who is spoken of, what is said, and what takes the edge off it.

A segment speaks of one set of students in one breath. A new one begins at a sentence end, at "but" and
"except", and where a new student, side or device is named after something was said and more is said after
it ("1 L bat 2 ok"); a name with nothing after it belongs to what came before ("wont link for 1").
"""

from dataclasses import dataclass, field

from service.core.district import Side
from service.core.replies.item import Item

_PREDICATES = frozenset(
    {"good", "goodrest", "fixed", "fixes", "fix", "faults", "parts", "bad", "dead", "notok", "away", "gone", "notyet", "late",
     "missing", "still", "yes", "no", "score", "loaner"}
)  # fmt: skip
_REFERENCES = frozenset({"number", "name", "stranger", "rest", "all", "both", "other", "staff"})
_PLACES = frozenset({"sides", "devices"})
_HAZARDS = frozenset({"hedge", "later", "past", "question", "notyet", "late", "still", "notok", "ack", "correction", "query", "help", "mine", "cannot"})


# Roles that add nothing to a breath and take nothing from it; any other left over is an unknown word.
_HARMLESS = frozenset(
    {"filler", "thanks", "heard", "excuse", "at", "within", "clock", "minutes", "belonging", "benign", "body", "found",
     "denied", "arrival", "greeting", "wait", "please", "undo", "notme", "durations"}
)  # fmt: skip
# Words that begin a new breath after a comma or an "and".
_OPENERS = _HAZARDS | {"pronoun", "self", "they", "not", "no", "unknown", "please"}


@dataclass(slots=True)
class Ref:
    """A student by number, with the side typed right after it, and whether the name was typed exactly."""

    number: int
    side: Side | None = None
    sure: bool = True
    by_name: bool = False


@dataclass(slots=True)
class Segment:
    """One breath of a reply. `joined` says how it hangs on what came before."""

    joined: str = ""
    refs: list[Ref] = field(default_factory=list)
    quantity: str = ""
    strangers: list[str] = field(default_factory=list)
    sides: list[Side] = field(default_factory=list)
    both: bool = False
    other: bool = False
    devices: list[str] = field(default_factory=list)
    said: list[Item] = field(default_factory=list)
    hazards: list[Item] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)
    nots: int = 0
    pronoun: bool = False
    they: bool = False
    staff: bool = False
    selfish: bool = False
    benign: bool = False
    after: bool = False
    room: bool = False
    belonging: bool = False
    arrival: bool = False
    narrowed: bool = False
    crossed: bool = False
    waits: bool = False
    asked: bool = False
    missed: list[str] = field(default_factory=list)

    def says(self, *roles: str) -> bool:
        """Whether something of one of these roles was said."""
        for item in self.said:
            if item.role in roles:
                return True
        return False

    def has(self, *roles: str) -> bool:
        """Whether a hazard of one of these roles is near."""
        for item in self.hazards:
            if item.role in roles:
                return True
        return False

    @property
    def subject(self) -> bool:
        """Whether somebody is named."""
        return bool(self.refs or self.quantity or self.strangers or self.staff)

    @property
    def empty(self) -> bool:
        """Whether nothing at all was understood in it."""
        return not (self.subject or self.said or self.sides or self.devices or self.other or self.missed)


def segments(read: list[Item]) -> list[Segment]:
    """The segments of a reply, in order."""
    return _Cutter(read).cut()


class _Cutter:
    def __init__(self, read: list[Item]) -> None:
        self.read = read
        self.at = 0
        self.done: list[Segment] = []
        self.now = Segment()
        self.sentence: list[Segment] = [self.now]
        self.loose = False

    def cut(self) -> list[Segment]:
        while self.at < len(self.read):
            self._take(self.read[self.at])
            self.at += 1
        self._close("end")
        return [segment for segment in self.done if not _is_blank(segment)]

    def _close(self, joined: str) -> None:
        self.done.append(self.now)
        self.now = Segment(joined=joined)
        self.loose = False
        if joined == "hard":
            self.sentence = []
        self.sentence.append(self.now)

    def _take(self, item: Item) -> None:
        role = item.role
        if role == "hard":
            self._close("hard")
        elif role == "query":
            opened = self.now.has("question", "help", "please")
            for segment in [self.now] if opened else self.sentence:
                segment.asked = True
            self._close("hard")
        elif role in ("soft", "and"):
            self.loose = True
        elif item.text in _SORRY and self.now.said and self.now.refs and self._beside()[1] in ("number", "name"):
            self._close("correction")
        elif role in ("except", "but"):
            if not (item.can("missed") and self._missed(item)):
                self._contrast(item)
        elif role in _REFERENCES:
            self._reference(item)
        elif role in _PLACES:
            self._place(item)
        elif role == "correction":
            self._close("correction")
            self.now.hazards.append(item)
        else:
            self._rest(item)

    def _contrast(self, item: Item) -> None:
        if "all" in item.text.split() or item.text.startswith(("every", "any")):
            if self.now.said or self.now.subject:
                self.now.quantity = self.now.quantity or "all"
            else:
                self.now.quantity = "all"
        self._close("except" if item.role == "except" else "but")

    def _reference(self, item: Item) -> None:
        role = item.role
        if role in ("rest",) and self.now.subject and not self.now.said:
            self._close("and")
        elif role == "staff" and self.now.said:
            self._skip_staff_name()
            return
        elif not self._continues_list() and self._starts_anew():
            self._close("soft" if self.loose else "run")
        elif (role == "other" and self.now.refs) or (role == "all" and self.loose and self._is_introduction()):
            self._close("run")
        now = self.now
        now.after = bool(now.said)
        if role in ("number", "name") and now.refs and not now.said and self._is_broken_list():
            now.unknown.append(self.read[self.at - 1].text)
        now.crossed = now.crossed or (role in ("number", "name") and now.quantity == "all" and not now.said)
        if role in ("number", "name"):
            now.refs.append(Ref(item.number, sure=item.sure, by_name=role == "name"))
        elif role == "stranger":
            now.strangers.append(item.value)
        elif role == "staff":
            now.staff = not now.said
            self._skip_staff_name()
        elif role == "both":
            self.now.both = True
            if not now.refs:
                now.quantity = now.quantity or "both"
        elif role == "other":
            now.other = True
        else:
            now.quantity = "rest" if role == "rest" or now.quantity == "rest" else "all"
        self.loose = False

    def _skip_staff_name(self) -> None:
        after = self.read[self.at + 1] if self.at + 1 < len(self.read) else None
        if after is not None and (after.role in ("unknown", "stranger") or not after.sure or len(after.text) == 1):
            self.at += 1

    def _place(self, item: Item) -> None:
        if item.role == "sides" and self._is_verb(item):
            return
        if self.now.said and self._more_is_said():
            self._close("place")
        if item.role == "sides":
            side = Side(item.value)
            if self.now.refs and not self.now.said and self.read[self.at - 1].role in ("number", "name"):
                self.now.refs[-1].side = side
            self.now.sides.append(side)
        else:
            self.now.devices.append(item.value)

    def _is_verb(self, item: Item) -> bool:
        """"left a dent", "left the room" and "all r ok": words that look like sides."""
        after = self.read[self.at + 1] if self.at + 1 < len(self.read) else None
        if item.text == "left" and after is not None:
            return after.text in ("a", "the", "his", "her", "for", "school", "it", "them", "early", "class", "us")
        if item.text == "r":
            before = self.read[self.at - 1] if self.at else None
            plural = before is not None and before.role in ("all", "rest", "both", "they")
            return plural and after is not None and after.role in ("good", "away", "fixed", "filler")
        return False

    def _starts_anew(self) -> bool:
        """Whether a name or place here opens a new segment: something was said, and more is said after it."""
        now = self.now
        if not now.said:
            return False
        if self.loose and (now.subject or now.sides or now.devices):
            return True
        return self._more_is_said() or now.subject or (bool(now.sides) and self.loose)

    def _is_introduction(self) -> bool:
        """"This is Dana, all ok": who writes, before what is said."""
        now = self.now
        strange = bool(now.unknown) and all(len(word) >= 4 for word in now.unknown)
        return not (now.refs or now.said or now.hazards or now.nots) and (now.staff or now.selfish or strange)

    def _is_broken_list(self) -> bool:
        """Whether something other than one connective stands between this name and the one before."""
        at = self.at - 1
        connectives = 0
        while at >= 0 and self.read[at].role not in ("number", "name"):
            if self.read[at].role not in ("and", "soft", "sides", "devices"):
                return True
            connectives += self.read[at].role == "and"
            at -= 1
        return connectives > 0 and self._beside()[0] == "soft"

    def _continues_list(self) -> bool:
        """Whether a name here goes on with names that followed what was said ("ok 1 2 4")."""
        before = self.at - 1
        while before >= 0 and self.read[before].role in ("and", "soft"):
            before -= 1
        listed = before >= 0 and self.read[before].role in ("number", "name")
        return listed and self.now.after and not self._more_is_said()

    def _more_is_said(self) -> bool:
        for item in self.read[self.at + 1 : self.at + 12]:
            if item.role in ("hard", "query", "except", "but"):
                return False
            if item.role == "soft":
                return False
            if item.role in _PREDICATES or item.role == "missed":
                return True
        return False

    def _rest(self, item: Item) -> None:
        role = item.role
        if self.loose and role == "good" and item.text.startswith("all ") and self._is_introduction():
            self._close("run")
        if self.loose and ((self.now.said and role in _OPENERS) or (role == "goodrest" and self.now.subject)):
            self._close("soft")
        now = self.now
        now.benign = now.benign or (item.sure and item.can("benign"))
        now.arrival = now.arrival or (item.sure and item.can("arrival"))
        now.belonging = now.belonging or item.can("belonging")
        if role == "no" and self._corrects():
            return
        if item.can("missed") and self._missed(item):
            return
        if role == "missed":
            role = item.role = "faults" if item.can("faults") else ("away" if item.can("away") else "unknown")
            item.value = item.means.get(role, item.value)
        if role == "away":
            role = self._absence(item)
        if role == "fixed" and item.text in _STOPPED and self._beside()[1] in ("good", "unknown"):
            role = item.role = "dead"
        if role == "good" and self._is_again():
            role = item.role = "fixed"
        if role in _PREDICATES and not (role == "no" and self._denies()):
            if self.loose and now.said:
                self._close("soft")
            self.now.said.append(item)
            if role == "good" and item.text.split()[0] in _NEGATING:
                self._deny_what_follows()
            self.loose = False
        elif role == "please":
            now.hazards.append(item)
        elif role in ("greeting", "thanks"):
            self._skip_addressee()
        elif role == "farewell":
            self._skip_farewell()
        elif role == "help":
            if now.said:
                self._close("soft")
            self.now.hazards.append(item)
        elif role == "no" and self._denies():
            now.nots += 1
            self._mark_negated()
        elif role == "room":
            now.room = True
        elif role == "not":
            now.nots += 1
            if item.text not in _NOBODY or (self._beside()[1] == "away" and self.read[self.at + 1].text not in ("off", "out")):
                self._mark_negated()
        elif role in _HAZARDS:
            now.hazards.append(item)
        elif role == "pronoun":
            now.pronoun = True
        elif role == "they":
            now.they = True
        elif role == "self":
            now.selfish = True
        elif role not in _HARMLESS:
            now.unknown.append(item.text)

    def _skip_addressee(self) -> None:
        """The name after "hi" or "thanks" is of somebody who is not asked about."""
        if self._beside()[1] == "unknown" and self._ends_at(self.at + 2):
            self.at += 1

    def _ends_at(self, at: int) -> bool:
        return at >= len(self.read) or self.read[at].role in ("hard", "soft", "all", "query")

    def _skip_farewell(self) -> None:
        """"See you Thursday" and "happy Friday" put nothing off."""
        while self.at + 1 < len(self.read) and self.read[self.at + 1].role in ("later", "filler", "past"):
            self.at += 1

    def _is_again(self) -> bool:
        """"Hears fine now": good, and it was not before."""
        after = self.read[self.at + 1] if self.at + 1 < len(self.read) else None
        if after is None or after.text not in _AGAIN:
            return False
        self.read[self.at].text += " now"
        return True

    def _absence(self, item: Item) -> str:
        """"Out", "off" and "at home" mean absence of a child, and something else of a part or after a remedy."""
        now = self.now
        if item.can("faults") and (now.says("parts") or now.devices or now.sides):
            item.role, item.value = "faults", item.means["faults"]
        if item.text not in ("out", "off"):
            return item.role
        if now.says("fixes", "fix", "faults", "bad"):
            item.role = "filler"
        elif now.says("parts") or now.devices or now.sides:
            item.role, item.value = "bad", "any"
        return item.role

    def _beside(self) -> tuple[str, str]:
        before = self.read[self.at - 1].role if self.at else ""
        after = self.read[self.at + 1].role if self.at + 1 < len(self.read) else ""
        return before, after

    def _corrects(self) -> bool:
        """Whether a "no" between two sides or two students takes the first back ("left no right")."""
        before, after = self._beside()
        if before == after == "sides":
            self.now.sides.pop()
            return True
        if after in ("number", "name") and before in ("number", "name") and self.now.refs:
            self.now.refs.pop()
            return True
        if after in ("number", "name") and self.now.said and self.now.refs:
            self._close("correction")
            return True
        return False

    def _denies(self) -> bool:
        """Whether a "no" speaks of what follows it ("no whistling") rather than answers."""
        return self._beside()[1] in ("away", "notok", "dead", "faults", "parts", "bad", "filler", "benign", "unknown", "devices", "fixes", "pronoun", "fix", "sides")

    def _deny_what_follows(self) -> None:
        """"No problems with batteries" tells of no battery trouble."""
        for item in self.read[self.at + 1 : self.at + 5]:
            if item.role in ("hard", "soft", "query", "but", "except"):
                return
            if item.role in ("parts", "faults"):
                item.role = "denied"

    def _mark_negated(self) -> None:
        """A "not" takes back the next fault or part it meets in the same breath, and spoils the next good word."""
        for item in self.read[self.at + 1 : self.at + 6]:
            if item.role in ("hard", "soft", "query", "but", "except"):
                return
            if item.role in ("faults", "parts", "bad", "fixes", "fix", "away", "notok"):
                item.role = "denied"
                self.now.nots = max(0, self.now.nots - 1)
                return
            if item.role in ("good", "fixed"):
                item.role = "notok" if not item.text.startswith("work") else "dead"
                self.now.nots = max(0, self.now.nots - 1)
                return

    def _sounds_before(self) -> list[str]:
        """The sounds right before "missed" ("s and sh missed")."""
        found: list[str] = []
        at = self.at - 1
        while at >= 0 and (self.read[at].role in ("and", "soft") or _sound(self.read[at], True, True)):
            value = _sound(self.read[at], True, True)
            found += [value] if value else []
            at -= 1
        self.now.unknown = [word for word in self.now.unknown if len(word) > 3] if found else self.now.unknown
        return found

    def _listened(self) -> bool:
        """Whether the words before speak of a listening check."""
        return any(item.role == "score" or "heard" in item.means for item in self.read[max(0, self.at - 12) : self.at])

    def _missed(self, item: Item) -> bool:
        """Sounds after "missed", taken together; False where none follow."""
        strict = item.role not in ("not", "no", "except", "but") or self._listened()
        found: list[str] = []
        at = self.at + 1
        while at < len(self.read):
            after = self.read[at]
            value = _sound(after, bool(found), strict)
            if value:
                found.append(value)
            elif strict and not found and after.can("nothing"):
                found.extend(SIX)
            elif not (after.role in ("and", "soft", "filler", "not", "no", "or", "heard") or after.text in ("or", "the", "sound", "sounds")):
                break
            elif after.role == "soft" and not _sound_follows(self.read, at, strict):
                break
            at += 1
        if not found and item.role == "missed":
            found = self._sounds_before()
        if not found:
            return False
        if self.loose and self.now.said:
            self._close("soft")
        if item.role in ("except", "but"):
            self.now.said = [said for said in self.now.said if said.role != "good"]
            self.now.quantity = ""
        self.now.missed.extend(found)
        self.now.said.append(Item("missing", text=item.text))
        self.at = at - 1
        return True


_SORRY = frozenset({"sorry", "perdon", "pardon"})
_NOBODY = frozenset({"none", "nobody", "no one", "noone", "neither", "nor", "ninguno", "nadie", "personne"})
_STOPPED = frozenset({"stopped"})
_AGAIN = frozenset({"now", "ahora", "maintenant"})
_NEGATING = frozenset({"no", "zero", "0", "nothing", "without", "sin", "ningun", "pas", "aucun", "sans"})
SIX = ("m", "oo", "ah", "ee", "sh", "s")
_WEAK_SOUNDS = frozenset({"a", "e", "u", "she", "see", "ash", "n", "h", "j", "ou", "ea", "em", "m", "z"})


def _sound(item: Item, others: bool, strict: bool) -> str:
    if not item.can("sounds"):
        return ""
    value = item.means["sounds"]
    if item.text in ("a", "e", "u", "n", "see", "ea", "ou"):
        return ""
    if value == "she":
        return "sh" if others else ""
    return value if strict or item.text not in _WEAK_SOUNDS or others else ""


def _sound_follows(read: list[Item], at: int, strict: bool) -> bool:
    return at + 1 < len(read) and bool(_sound(read[at + 1], True, strict))


def _is_blank(segment: Segment) -> bool:
    return segment.empty and not (
        segment.hazards or segment.unknown or segment.nots or segment.asked or segment.selfish or segment.benign or segment.joined in ("except", "but")
    )
