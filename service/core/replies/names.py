"""Who is spoken of: names, numbers, "all", "the rest", sides and devices, gathered into segments.

A new segment begins where a new student, side or device is named after something was said and more is said
after it ("1 L bat 2 ok"); a name with nothing after it belongs to what came before ("wont link for 1").
"""

from service.core.district import Side
from service.core.replies.item import Item
from service.core.replies.segment import Ref, Segment

PREDICATES = frozenset(
    {"good", "goodrest", "fixed", "fixes", "fix", "faults", "parts", "bad", "dead", "notok", "away", "gone"}
    | {"notyet", "late", "missing", "still", "yes", "no", "score", "loaner"}
)
NAMES = frozenset({"number", "name"})
_OF = frozenset({"in", "on", "of", "from", "de", "del", "du", "d"})
_LISTING = frozenset({"hard", "soft", "query", "and", "except", "but", "sides", "devices"})
_TITLE_NAME = frozenset({"unknown", "stranger"})
_OR = frozenset({"or", "nor", "o", "ou", "ni"})
NEGATING = frozenset({"no", "zero", "0", "nothing", "without", "not", "sin", "ningun", "pas", "aucun", "sans", "rien"})
_ARTICLES = frozenset({"the", "his", "her", "a", "their"})
_WHERE = frozenset({"under", "behind", "around", "near", "beneath"})
_VERB_LEFT = frozenset(
    {"a", "the", "his", "her", "for", "that", "this", "school", "it", "them", "early", "class", "us", "at", "before"}
)


class Gatherer:
    """Walks the items and keeps the segment in hand; what is said in it is the business of `clauses`."""

    def __init__(self, read: list[Item]) -> None:
        self.read = read
        self.at = 0
        self.done: list[Segment] = []
        self.now = Segment()
        self.sentence: list[Segment] = [self.now]
        self.loose = False

    def close(self, joined: str) -> None:
        """End the segment in hand and begin another that hangs on it by `joined`."""
        self.done.append(self.now)
        self.now = Segment(joined=joined)
        self.loose = False
        if joined == "hard":
            self.sentence = []
        self.sentence.append(self.now)

    def beside(self) -> tuple[str, str]:
        """The roles of the items before and after the one in hand."""
        before = self.read[self.at - 1].role if self.at else ""
        after = self.after()
        return before, after.role if after else ""

    def after(self) -> Item | None:
        """The item after the one in hand."""
        return self.read[self.at + 1] if self.at + 1 < len(self.read) else None

    def reference(self, item: Item) -> None:
        """Take a word that names students, or somebody who is none."""
        if item.role == "staff" and (self.now.said or self.beside()[0] in ("greeting", "thanks")):
            if not (self.now.says("good") and self._is_away_soon()):
                self._skip_staff_name()
                return
            self.close("run")
        if item.role == "staff" and self.now.refs and not self.now.said and self._is_away_soon():
            self.close("run")
        self._begin_for(item)
        now = self.now
        now.after = bool(now.said)
        if item.role in NAMES:
            self._name(item)
        elif item.role == "stranger":
            now.strangers.append(item.value)
        elif item.role == "staff":
            now.staff = True
            self._skip_staff_name()
        elif item.role == "both":
            now.both = True
            now.quantity = now.quantity or ("" if now.refs else "both")
        elif item.role == "other":
            now.other = True
        else:
            now.quantity = "rest" if "rest" in (item.role, now.quantity) else "all"
        self.loose = False

    def _begin_for(self, item: Item) -> None:
        role, now = item.role, self.now
        if now.joined == "correction" and now.refs and not now.said and self.loose and self._more_is_said():
            self.close("soft")
        elif role == "number" and self._is_aside() and self._more_is_said():
            self.close("run")
        elif role == "rest" and now.subject and not now.said:
            self.close("together" if self.beside()[0] == "and" else "and")
        elif role == "both" and len(now.refs) == 1 and now.said and not self.loose and self._is_of_the_last(item):
            return
        elif not self._continues_list() and (self._starts_anew() or self._tells_of(item)):
            self.close("soft" if self.loose else "run")
        elif (role == "other" and now.refs) or (role == "all" and self.loose and self.is_introduction()):
            self.close("run")

    def _is_of_the_last(self, item: Item) -> bool:
        """"1 forgot both": what was said is said of both."""
        return item.text.startswith("either") or not (self._more_is_said() or self.now.says("good", "fixed"))

    def _is_aside(self) -> bool:
        """Whether the segment in hand only chats, so that a number begins something new."""
        now = self.now
        chats = now.belonging or now.benign or now.selfish or now.denied
        said = any(not item.can("benign_fix") for item in now.said)
        return chats and now.words > 1 and not said and all(ref.by_name for ref in now.refs)

    def _name(self, item: Item) -> None:
        now = self.now
        if now.refs and not now.said and self._is_broken_list():
            now.unknown.append(self.read[self.at - 1].text)
        now.crossed = now.crossed or (now.quantity == "all" and not now.said)
        now.refs.append(Ref(item.number, sure=item.sure, by_name=item.role == "name"))

    def _is_away_soon(self) -> bool:
        """"All ok, Mrs Lane is out": the adult is away."""
        return any(item.role == "away" for item in self.read[self.at + 1 : self.at + 5])

    def _skip_staff_name(self) -> None:
        after = self.after()
        if after is None or not after.text.isalpha():
            return
        if after.role in _TITLE_NAME or not after.sure or len(after.text) == 1:
            self.at += 1

    def place(self, item: Item) -> None:
        """Take a word for a side or a device."""
        if item.role == "sides" and self._is_verb(item):
            return
        where = self._is_under()
        where = where or self.beside()[0] == "hard"
        if self.now.said and not where and self._more_is_said(NAMES) and not self._is_bare_part():
            self.close("place")
        if item.role == "sides":
            side = Side(item.value)
            if self.now.refs and not self.now.said and self.read[self.at - 1].role in NAMES:
                self.now.refs[-1].side = side
            self.now.sides.append(side)
        else:
            self.now.devices.append(item.value)

    def _is_under(self) -> bool:
        """"Pink under the right coil": the place goes with what is there."""
        before = [item.text for item in self.read[max(0, self.at - 2) : self.at]]
        while before and before[-1] in _ARTICLES:
            before.pop()
        return bool(before) and before[-1].split(" ")[-1] in _WHERE

    def _is_bare_part(self) -> bool:
        """"Cable left loose": only a part was named so far, and what follows the side tells of it."""
        now = self.now
        said = [item.role for item in self.read[self.at + 1 : self.at + 12] if item.role in PREDICATES]
        if all(item.role in ("fixes", "fix") and item.value in ("", "none") for item in now.said):
            return bool(now.said) and said[:1] == ["parts"]
        if now.sides or now.devices or any(item.role != "parts" for item in now.said):
            return False
        return bool(said) and said[0] in ("faults", "bad", "dead", "fixes", "fix") and "parts" not in said[:2]

    def _is_verb(self, item: Item) -> bool:
        """"left a dent", "left the room" and "all r ok": words that look like sides."""
        after = self.after()
        if item.text == "left" and after is not None:
            return after.text in _VERB_LEFT
        if item.text == "r" and len(self.now.refs) > 1 and not self.now.said:
            return after is not None and after.role in ("good", "away", "fixed")
        if item.text == "r":
            before = self.read[self.at - 1] if self.at else None
            plural = before is not None and before.role in ("all", "rest", "both", "they")
            return plural and after is not None and after.role in ("good", "away", "fixed", "filler")
        return False

    def _starts_anew(self) -> bool:
        """Whether a name or place here opens a new segment: something was said, and more is said after it."""
        now = self.now
        if not now.said or self._belongs_to_next():
            return False
        if self.loose and (now.subject or now.sides or now.devices):
            return True
        return self._more_is_said() or now.subject or (bool(now.sides) and self.loose)

    def _belongs_to_next(self) -> bool:
        """"The tube of Ada", "replaced Ada's battery": only a part or a remedy was named before its owner."""
        now = self.now
        if now.subject or self.loose:
            return False
        if self.read[self.at - 1].text in _OF:
            return all(item.role == "parts" for item in now.said)
        return all(item.role in ("fixes", "fix") and item.value in ("", "none") for item in now.said)

    def _tells_of(self, item: Item) -> bool:
        """"Ok, Ada is wearing glasses": a name after a comma that more words follow begins something new."""
        told = self.now.says("good") and not self.now.refs and item.role == "name"
        if told and self._chats_of_the_named():
            return True
        after = self.after()
        if not told or self.beside()[0] not in ("soft", "and") or after is None:
            return False
        beyond = self.read[self.at + 2].text if self.at + 2 < len(self.read) else ""
        tells = after.text == "left" and beyond in _VERB_LEFT
        return tells or after.role not in (*_LISTING, *PREDICATES, *NAMES)

    def _chats_of_the_named(self) -> bool:
        """"All ok, Ada and Ben are line leaders": something everyday is told of those who are named after the news."""
        end = self.at
        while end < len(self.read) and (self.read[end].role in NAMES or self.read[end].role == "and"):
            end += 1
        after = self.read[end] if end < len(self.read) else Item("")
        return after.role == "chat" or after.text.startswith(("helped", "says hi", "says hello", "says thanks"))

    def is_introduction(self) -> bool:
        """"This is Dana, all ok": who writes, before what is said."""
        now = self.now
        strange = bool(now.unknown) and all(len(word) >= 4 for word in now.unknown)
        return not (now.refs or now.said or now.hazards or now.nots) and (now.staff or now.selfish or strange)

    def _is_broken_list(self) -> bool:
        """Whether something other than one connective stands between this name and the one before."""
        at = self.at - 1
        connectives = 0
        while at >= 0 and self.read[at].role not in NAMES:
            if self.read[at].role not in ("and", "soft", "sides", "devices"):
                return True
            connectives += self.read[at].role == "and"
            at -= 1
        return connectives > 0 and self.beside()[0] == "soft"

    def _continues_list(self) -> bool:
        """Whether a name here goes on with names that followed what was said ("ok 1 2 4")."""
        before = self.at - 1
        negating = any(said.role == "good" and said.text.split()[0] in NEGATING for said in self.now.said)
        linking = _OR if negating else frozenset[str]()
        while before >= 0 and (self.read[before].role in ("and", "soft") or self.read[before].text in linking):
            before -= 1
        listed = before >= 0 and self.read[before].role in NAMES
        return listed and self.now.after and not self._more_is_said()

    def _more_is_said(self, ends: frozenset[str] = frozenset()) -> bool:
        """Whether something is said before the breath, or one of `ends`, ends it."""
        for item in self.read[self.at + 1 : self.at + 12]:
            if item.role in ("hard", "soft", "query", "except", "but") or item.role in ends:
                return False
            if item.role in PREDICATES or item.role == "missed":
                return True
        return False
