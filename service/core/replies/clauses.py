"""Items to segments: what is said in each breath, and what takes the edge off it.

A segment speaks of one set of students in one breath. A new one begins at a sentence end, at "but" and
"except", after a comma or "and" where more is said, and where `names` finds somebody new spoken of.
"""

from collections.abc import Sequence

from service.core.replies.item import Item
from service.core.replies.listening import has_listened, others_than, sounds_after, sounds_before
from service.core.replies.names import NAMES, NEGATING, PREDICATES, Gatherer
from service.core.replies.segment import Segment

_REFERENCES = frozenset({"number", "name", "stranger", "rest", "all", "both", "other", "staff"})
_PLACES = frozenset({"sides", "devices"})
_HAZARDS = frozenset(
    {"hedge", "later", "past", "question", "notyet", "late", "still", "notok", "ack", "correction", "query"}
    | {"help", "mine", "cannot", "please"}
)
# Roles that add nothing to a breath and take nothing from it; any other left over is an unknown word.
_HARMLESS = frozenset(
    {"filler", "heard", "excuse", "at", "within", "clock", "minutes", "belonging", "benign", "body", "found"}
    | {"denied", "arrival", "wait", "undo", "notme", "durations", "elsewhere", "chat"}
)
# Words that begin a new breath after a comma or an "and".
_OPENERS = _HAZARDS | {"pronoun", "arrival", "self", "they", "not", "no", "unknown", "elsewhere"}
_FLAGS = {"pronoun": "pronoun", "they": "they", "self": "selfish", "room": "room"}
_STOPS = frozenset({"hard", "soft", "query", "but", "except"})
_DENIABLE = frozenset({"faults", "parts", "bad", "fixes", "fix", "away", "notok"})
_AFTER_NO = _DENIABLE | {"dead", "filler", "benign", "unknown", "devices", "pronoun", "sides"}
_SORRY = frozenset({"sorry", "perdon", "pardon"})
_NOBODY = frozenset({"none", "nobody", "no one", "noone", "neither", "nor", "ninguno", "nadie", "personne"})
_THINGS = frozenset(
    {"it", "them", "that", "this", "one", "ones", "thing", "things", "these", "those", "lo", "ca"}
)
_WORN = frozenset({"his", "hers", "theirs", "it", "them", "one", "ones"})
_OUTSIDE = frozenset({"in", "on", "by", "near"})
_FREE_TIME = frozenset({"holiday", "vacation"})
_OF_SOMEBODY = frozenset({"his", "her", "their", "our", "my", "the", "about", "happy", "from"})
_NOT_SLIPS = frozenset({"nit", "noy", "nto", "nott", "nt", "un"})
_NONE_THERE = frozenset({"no", "sin", "pas", "sans"})
_REGRETS = frozenset({"sorry", "apologies", "perdon", "pardon", "desole"})
_COURTESY = ("thanks for", "thank you for")
_WAS = frozenset({"was", "were", "had"})
_SINCE = frozenset({"after", "once", "since"})
_TELLING = frozenset({"filler", "pronoun", "sides"})
_SETTING_ASIDE = frozenset({"not", "isnt", "wasnt", "pas"})
_BAD_NEWS = frozenset({"faults", "parts", "bad", "dead", "away", "missing"})
_DAY = frozenset({"day", "one", "morning", "afternoon", "week", "time", "evening"})
_UNDATED = ("hope", "feel", "get well", "wish")
_TROUBLE = frozenset({"faults", "bad", "dead", "notok", "parts", "fixes", "fix"})
_MERELY = frozenset({"just", "only", "juste", "solo"})
_TELLERS = frozenset(
    {"i", "im", "ive", "iwill", "we", "weare", "weve", "wewill", "my", "our", "they", "theyre", "theyve", "did"}
    | {"did it", "took", "sorry", "checked", "checked them", "tested", "listened", "used", "havent", "hasnt"}
)
_PREPOSITIONS = frozenset({"in", "at", "on", "with", "for", "from", "by", "of", "to", "as", "than", "if", "when", "so"})
_STOPPED = frozenset({"stopped"})
_AGAIN = frozenset({"now", "again", "ahora", "otra vez", "de nuevo", "maintenant", "a nouveau"})
_NOBODY_HERE = (
    "nobody ", "no one ", "no kids ", "no students ", "no children ", "none ", "class trip", "school trip",
    "neither ", "no school", "snow day", "school closed", "school is closed", "schools ", "inset day", "closed today",
    "we are closed", "remote learning", "no hay cl", "no hay esc", "pas decole", "pas classe", "pas de classe",
)  # fmt: skip


def segments(read: list[Item], sounds: Sequence[str]) -> list[Segment]:
    """The segments of a reply, in order; `sounds` are all those that were asked about."""
    return _Cutter(read, sounds).cut()


class _Cutter(Gatherer):
    def __init__(self, read: list[Item], sounds: Sequence[str]) -> None:
        super().__init__(read)
        self.sounds = sounds

    def cut(self) -> list[Segment]:
        while self.at < len(self.read):
            item = self.read[self.at]
            self._take(item)
            self.now.items.append(item)
            self.at += 1
        self.close("end")
        return [segment for segment in self.done if not segment.blank]

    def _take(self, item: Item) -> None:
        role = item.role
        if role in ("soft", "and") or self._is_dotted_side(item):
            self.loose = True
        elif role in ("hard", "query", "correction") or self._is_sorry(item):
            self._break(item)
        elif role == "but" and self._is_mere(item):
            self._word(Item("filler", text=item.text))
        elif role in ("except", "but"):
            if not (item.can("missed") and self._missed(item)):
                self._contrast(item)
        elif role in _REFERENCES:
            self.reference(item)
        elif role in _PLACES:
            self.place(item)
        elif role not in ("silence", "noticed") or not self._counts(item):
            self._word(item)

    def _is_mere(self, item: Item) -> bool:
        """"It was just the battery": no contrast."""
        return item.text in _MERELY and self.beside()[0] in ("past", "pronoun") and not self.now.says("good")

    def _is_dotted_side(self, item: Item) -> bool:
        """"2 bat.l": a dot that sets off the letter of a side."""
        after = self.after()
        if item.text != "." or after is None or self.now.says("good"):
            return False
        return after.role == "sides" and len(after.text) == 1

    def _break(self, item: Item) -> None:
        if item.role == "correction" and self._retracts_side():
            return
        if item.role == "query":
            opened = self.now.has("question", "help", "please")
            for segment in [self.now] if opened else self.sentence:
                segment.asked = True
            if self.done and not opened and not any(part.said or part.refs or part.quantity for part in self.sentence):
                self.done[-1].asked = True
        self.close("hard" if item.role in ("hard", "query") else "correction")
        if item.role == "correction":
            self.now.hazards.append(item)

    def _is_sorry(self, item: Item) -> bool:
        """"1 away sorry 2 away" and "right sorry left" take the first back."""
        if item.text not in _SORRY:
            return False
        after = self.beside()[1]
        if after == "sides" and self.now.sides:
            item.role = "correction"
            return True
        if after in ("soft", *NAMES) and self.now.joined == "hard" and self.beside()[0] == "hard":
            self.now.joined = "sorry"
        dashed = after == "soft" and self.at > 0 and self.read[self.at - 1].text == "-" and self._named_at(self.at + 2)
        return bool(self.now.said and self.now.refs) and (after in NAMES or dashed)

    def _retracts_side(self) -> bool:
        """"Right, I mean left battery": the first side is taken back before anything was said of it."""
        if self.now.said or not self.now.sides or self.beside()[1] != "sides":
            return False
        self.now.sides.pop()
        for ref in self.now.refs[-1:]:
            ref.side = None
        return True

    def _contrast(self, item: Item) -> None:
        if "all" in item.text.split() or item.text.startswith(("every", "any")):
            self.now.quantity = self.now.quantity or "all"
        self.close("except" if item.role == "except" else "but")

    def _word(self, item: Item) -> None:
        self._open(item)
        now = self.now
        now.words += 1
        now.thing = now.thing or item.text in _THINGS
        now.everyday += item.can("plain")
        now.guessed = now.guessed or (item.role in ("parts", "faults") and not item.sure)
        kind = item.can("benign") and item.role != "bad" and not item.can("benign_fix")
        now.benign = now.benign or (item.sure and kind)
        now.arrival = now.arrival or (item.sure and item.can("arrival"))
        if item.can("belonging") and self.beside()[0] in ("sides", "number") and now.says("good"):
            now.unknown.append(item.text)
        now.belonging = now.belonging or item.can("belonging")
        now.denied = now.denied or item.role == "denied"
        if (item.role == "no" and self._corrects()) or (item.can("missed") and self._missed(item)):
            return
        role = self._role(item)
        if role in ("no", "not") and (role == "not" or self._denies()):
            self._negate(item)
        elif role in PREDICATES:
            self._say(item)
        elif role in ("greeting", "thanks"):
            self._skip_addressee()
        elif role == "farewell":
            self._skip_farewell()
        elif role in _HAZARDS:
            self._doubt(item)
        elif role == "excuse":
            self._excuse()
        elif role in _FLAGS:
            setattr(now, _FLAGS[role], True)
        elif role == "unknown" and not item.value and now.says("good", "fixed") and self._is_inert():
            now.strange.append(item.text)
        elif role not in _HARMLESS:
            now.unknown.append(item.text)
            now.odd = now.odd or item.value == "odd"

    def _is_inert(self) -> bool:
        """Whether an unknown word after the news only chats: everyday, or away from the news and from names."""
        plain = self.read[self.at].means.get("plain") is not None
        before, after = self.beside()
        return plain or (before not in ("good", "fixed") and after not in (*NAMES, "all", "rest", "both"))

    def _open(self, item: Item) -> None:
        """Begin a new breath where this word begins one."""
        if item.role == "goodrest" and self.now.subject:
            self.close("soft")
        if item.text in _REGRETS or (item.text.startswith(_COURTESY) and item.role != "ack"):
            if self.now.says("good"):
                self.close("soft")
            self.now.courtesy = not (self.now.said or self.now.subject)
        if self._is_own_story(item):
            self.close("run")
            return
        if not self.loose:
            return
        if item.role == "good" and item.text.startswith("all ") and self.is_introduction():
            self.close("run")
        elif (self.now.said or (self.now.staff and item.role == "pronoun")) and item.role in _OPENERS:
            self.close("soft")

    def _is_own_story(self, item: Item) -> bool:
        """"All ok we're off to music", "all ok did it at breakfast": who writes goes on to tell, without a pause."""
        if not self.now.says("good") or self.loose or self.after() is None or self.beside()[1] in _STOPS:
            return False
        if item.role in ("chat", "mine"):
            return True
        if item.role in ("notyet", "late") and self.now.refs and self.beside()[1] in NAMES:
            return True
        if item.role in ("fixes", "fix") and item.text.startswith(("after ", "once ")):
            return True
        return item.text in _TELLERS and self.read[self.at - 1].text not in _PREPOSITIONS

    def _role(self, item: Item) -> str:
        """The role of a word, where what stands beside it decides."""
        if item.role == "missed":
            item.role = next((kind for kind in ("faults", "away", "bad") if item.can(kind)), "unknown")
            item.value = item.means.get(item.role, item.value)
        if item.role == "away":
            self._absence(item)
        if item.role == "fixed" and item.text in _STOPPED and self.beside()[1] in ("good", "unknown"):
            item.role = "dead"
        if item.role == "good" and self._is_again():
            item.role = "fixed"
        return item.role

    def _say(self, item: Item) -> None:
        if self.loose and self.now.said:
            self.close("soft")
        self.now.said.append(item)
        if item.role == "away" and item.text.startswith(_NOBODY_HERE) and not self.now.refs:
            self.now.quantity = self.now.quantity or "all"
        if item.role == "good" and item.text.split()[0] in NEGATING:
            self._deny_what_follows()
        self.loose = False

    def _doubt(self, item: Item) -> None:
        if item.text in _SINCE and self._remedy_follows():
            return
        if self.now.courtesy and item.role == "past" and not self.now.subject:
            return
        if item.role == "help" and self.now.said:
            self.close("soft")
        self.now.hazards.append(item)

    def _excuse(self) -> None:
        """"Was on bus duty" tells why an answer is late, not how anything was."""
        if not (self.now.said or self.now.subject):
            self.now.hazards = [hazard for hazard in self.now.hazards if hazard.text not in _WAS]

    def _remedy_follows(self) -> bool:
        """"Working after a new battery" puts nothing off."""
        near = self.read[self.at + 1 : self.at + 4]
        rest = [item.role for item in near if item.role not in ("filler", "self", "pronoun", "they")]
        return bool(rest) and rest[0] in ("fixes", "fix")

    def _negate(self, item: Item) -> None:
        if self._sets_aside(item):
            return
        self.now.nots += 1
        after = self.after()
        absent = after is not None and after.role == "away" and after.text not in ("off", "out")
        if item.text not in _NOBODY or absent:
            self._mark_negated()

    def _skip_addressee(self) -> None:
        """The name after "hi" or "thanks" is of somebody who is not asked about."""
        if self.beside()[1] == "unknown" and self._ends_at(self.at + 2):
            self.at += 1

    def _ends_at(self, at: int) -> bool:
        return at >= len(self.read) or self.read[at].role in ("hard", "soft", "all", "query")

    def _skip_farewell(self) -> None:
        """"See you Thursday" and "happy Friday" put nothing off."""
        dated = self.read[self.at].text.startswith(_UNDATED)
        while self.at + 1 < len(self.read) and self.read[self.at + 1].role in ("later", "filler", "past"):
            dated = dated or self.read[self.at + 1].text in _DAY
            if self.read[self.at + 1].role != "filler":
                if dated:
                    return
                dated = True
            self.at += 1

    def _is_again(self) -> bool:
        """"Hears fine now": good, and it was not before."""
        after = self.after()
        if after is None or after.text not in _AGAIN:
            return False
        self.read[self.at].text += " again" if after.role == "still" else " now"
        after.role = "filler"
        return True

    def _absence(self, item: Item) -> None:
        """"Out", "off" and "at home" mean absence of a child, and something else of a part or after a remedy."""
        now = self.now
        if item.text.startswith("at home") and now.says("good"):
            item.role = "past"
            return
        after = self.after()
        outside = item.text == "out" and after is not None and after.text in _OUTSIDE
        if outside or (now.belonging and item.text.startswith("at home")):
            item.role = "filler"
            return
        both = now.both and len(now.refs) == 1
        if item.text in _FREE_TIME and self.at and self.read[self.at - 1].text in _OF_SOMEBODY:
            item.role = "filler"
            return
        if item.can("faults") and (now.says("parts") or now.devices or now.sides or both):
            item.role, item.value = "faults", item.means["faults"]
        if item.text not in ("out", "out of", "off", "off today"):
            return
        if now.says("fixes", "fix", "faults", "bad"):
            item.role = "filler"
        elif now.says("parts", "notok") or now.devices or now.sides or self._is_worn():
            item.role, item.value = "bad", "any"

    def _is_worn(self) -> bool:
        """Whether the word before stands for the device ("took his off")."""
        return self.at > 0 and self.read[self.at - 1].text in _WORN

    def _corrects(self) -> bool:
        """Whether a "no" between two sides or two students takes the first back ("left no right", "1L no 1R")."""
        before, after = self.beside()
        again = after in NAMES and self.now.refs and self.now.refs[-1].number == self.read[self.at + 1].number
        if before == "sides" and again and self.now.sides and not self.now.said:
            self.now.sides.pop()
            self.now.refs.pop()
            return True
        named = after in NAMES or (after == "soft" and self._named_at(self.at + 2))
        if before == "hard" and named and self.done and self.done[-1].refs:
            self.now.joined = "correction"
            return True
        if before == after == "sides":
            self.now.sides.pop()
            return True
        if after in NAMES and before in NAMES and self.now.refs and not self._good_follows():
            self.now.refs.pop()
            return True
        if after in NAMES and self.now.said and self.now.refs:
            self.close("correction")
            return True
        return False

    def _named_at(self, at: int) -> bool:
        return at < len(self.read) and self.read[at].role in NAMES

    def _good_follows(self) -> bool:
        """Whether the next thing said is good: "2 no 3 ok" is no correction."""
        said = (item.role for item in self.read[self.at + 1 :] if item.role in PREDICATES)
        return next(said, "") == "good"

    def _denies(self) -> bool:
        """Whether a "no" speaks of what follows it ("no whistling") rather than answers."""
        return self.beside()[1] in _AFTER_NO

    def _deny_what_follows(self) -> None:
        """"No problems with batteries" tells of no battery trouble."""
        for item in self.read[self.at + 1 : self.at + 5]:
            if item.role in _STOPS or item.role in NAMES:
                return
            if item.role in ("parts", "faults"):
                item.role = "denied"

    def _sets_aside(self, item: Item) -> bool:
        """"Not 2, 3 bat" and "3 bat, not 2" say nothing of 2: skip to the end of its name."""
        rest = self.read[self.at + 1 : self.at + 9]
        if item.text not in _SETTING_ASIDE or not rest or rest[0].role not in NAMES:
            return False
        follows = [other.role for other in rest[1:]]
        told = next((role for role in follows if role not in _TELLING), "")
        if self.beside()[0] in NAMES and not self.now.said and told in ("faults", "parts", "bad", "dead"):
            self.at += 1
            return True
        ended = not follows or follows[0] in _STOPS
        if self.now.says("good") and self.now.subject and ended:
            self.close("but")
            return True
        if self.now.refs and self.now.says(*_BAD_NEWS) and ended:
            self.at += 1
            return True
        said = next((at for at, role in enumerate(follows) if role in PREDICATES), None)
        named = [at for at, role in enumerate(follows) if role in NAMES]
        if said is None or follows[said] not in _BAD_NEWS or not named or named[0] > said or "hard" in follows[:said]:
            return False
        self.at += 1 + named[0]
        return True

    def _mark_negated(self) -> None:
        """A "not" takes back the next fault or part it meets in the same breath, and spoils the next good word."""
        for item in self.read[self.at + 1 : self.at + 6]:
            if item.role in _STOPS:
                return
            if item.role in _DENIABLE and (self.read[self.at].text in _NOT_SLIPS or not item.sure):
                return
            if item.role == "parts" and self._is_missing_part(item):
                self.now.nots = max(0, self.now.nots - 1)
                return
            if item.role in _DENIABLE:
                if item.role in ("faults", "bad"):
                    self.now.said = [said for said in self.now.said if said.role != "parts"]
                item.role = "denied"
                self.now.nots = max(0, self.now.nots - 1)
                return
            if item.role in ("good", "fixed"):
                item.role = "notok" if not item.text.startswith("work") else "dead"
                self.now.nots = max(0, self.now.nots - 1)
                return

    def _is_missing_part(self, part: Item) -> bool:
        """"3 no hook": a part that is not there, where "no" stands right before it and nothing follows."""
        at = self.at + 2
        here = self.after() is part and self.read[self.at].text in _NONE_THERE
        missing = at >= len(self.read) or self.read[at].role not in _TROUBLE
        return here and missing and bool(self.now.refs) and not self.now.says("good")

    def _missed(self, item: Item) -> bool:
        """Take the sounds that "missed" speaks of; False where there are none."""
        strict = item.role not in ("not", "no", "except", "but") or has_listened(self.read, self.at)
        found, end = sounds_after(self.read, self.at, strict, self.sounds)
        ends = self.after() is None or self.beside()[1] in _STOPS
        if not found and (item.role == "missed" or (item.text == "no" and ends)) and not item.can("heard_only"):
            found = sounds_before(self.read, self.at)
            self.now.unknown = [word for word in self.now.unknown if len(word) > 3] if found else self.now.unknown
        if not found:
            return False
        if self.loose and self.now.said:
            self.close("soft")
        linked = self.read[end - 1].role in ("and", "soft")
        if item.can("heard_only"):
            found = others_than(found, self.sounds)
        if item.role in ("except", "but"):
            self.now.said = [said for said in self.now.said if said.role != "good"]
            self.now.quantity = ""
        self.now.missed.extend(found)
        self.now.said.append(Item("missing", text=item.text))
        self.at = end - 1
        self.loose = linked
        return True

    def _counts(self, item: Item) -> bool:
        """Take silences that were answered, or sounds that were noticed and not named; False where none follow."""
        if item.role == "silence":
            self.now.false += int(item.value)
            return True
        found, end = sounds_after(self.read, self.at, True, ())
        self.now.noticed.extend(found)
        self.at = end - 1 if found else self.at
        return bool(found)
