"""What the numbers of a reply count: students, minutes, a clock time, a room, a score, a whole class."""

from dataclasses import dataclass

from service.core.reading import Asked, Audience
from service.core.replies.item import Item

MOST_MINUTES = 600


@dataclass(slots=True)
class Counted:
    """Minutes asked for, and whether a clock time was named."""

    minutes: int | None = None
    clock: bool = False


def settle_numbers(read: list[Item], asked: Asked) -> tuple[list[Item], Counted]:
    """`read` with every number given its role, and the minutes found on the way."""
    for item in read:
        if item.can("numbers"):
            item.number = int(item.means["numbers"])
    return _Counter(read, asked).count()


class _Counter:
    def __init__(self, read: list[Item], asked: Asked) -> None:
        self.read = read
        self.numbers = {student.number for student in asked.students}
        self.excused = any(item.role in ("excuse", "wait") for item in read)
        if asked.audience is Audience.CONTACT:
            self.excused = self.excused or any(item.can("mine") for item in read)
        self.counted = Counted()
        self.out: list[Item] = []
        self.label_mark = ""

    def count(self) -> tuple[list[Item], Counted]:
        at = 0
        while at < len(self.read):
            item = self.read[at]
            if item.text in _ENDMOST:
                at += self._from_an_end(at)
            elif item.role == "durations":
                at += self._minutes(item, int(item.value), 1)
            elif item.role == "number" or _is_word_number(self.read, at):
                at += self._number(item, *self._around(at))
            else:
                self.out.append(_leftover(item, self._around(at)[1]))
                at += 1
        return self.out, self.counted

    def _around(self, at: int) -> tuple[Item, Item, Item]:
        """The items before, after and after next; where there is none, one that means nothing."""
        before = self.out[-1] if self.out else _NONE
        after = self.read[at + 1] if at + 1 < len(self.read) else _NONE
        return before, after, self.read[at + 2] if at + 2 < len(self.read) else _NONE

    def _number(self, item: Item, before: Item, after: Item, beyond: Item) -> int:
        """Put down what the number is and say how many items that took."""
        return (
            self._heard(item, after)
            or self._label(item, before, after, beyond)
            or self._time(item, before, after, beyond)
            or (self._pair(item, after, beyond) if beyond.number else 0)
            or self._whole(item, before)
            or self._student(item, before, after, beyond)
        )

    def _heard(self, item: Item, after: Item) -> int:
        """"5 of 6, missed s": how many sounds were heard, where some are missed."""
        at = self.read.index(item)
        told = any(other.role == "missed" for other in self.read[at + 2 : at + 5])
        return self._put("score", item, 2) if after.text in _OF_SIX and told and item.number <= _SIX else 0

    def _from_an_end(self, at: int) -> int:
        """"The first 3", "last two", "the last one": so many students from that end of the round."""
        item, after = self.read[at], self.read[at + 1] if at + 1 < len(self.read) else _NONE
        beyond = self.read[at + 2] if at + 2 < len(self.read) else _NONE
        many = 2 if after.text in _COUPLE else after.number
        if not 0 < many < len(self.numbers) or beyond.text in _COUNTED or beyond.text in _UNCOUNTED:
            if item.number:
                return self._number(item, *self._around(at))
            self.out.append(item)
            return 1
        ordered = sorted(self.numbers)
        chosen = ordered[:many] if item.number else ordered[-many:]
        self.out.extend(Item("number", text=str(n), number=n) for n in chosen)
        return 3 if beyond.text in _PUPILS else 2

    def _is_alone_in_trouble(self, item: Item) -> bool:
        """Whether bad news follows the number: "only 2 is out" speaks of student 2."""
        at = self.read.index(item)
        said = (after.role for after in self.read[at + 1 : at + 5] if after.role in _NEWS)
        return next(said, "") in _BAD_NEWS

    def _put(self, role: str, item: Item, width: int) -> int:
        self.out.append(Item(role, text=item.text))
        return width

    def _minutes(self, item: Item, minutes: int, width: int) -> int:
        self.counted.minutes = self.counted.minutes or min(minutes, MOST_MINUTES)
        return self._put("minutes", item, width)

    def _label(self, item: Item, before: Item, after: Item, beyond: Item) -> int:
        """A number that belongs to another word: a room, an ordinal, a share of them."""
        if before.can("room") and not before.can("minutes"):
            return self._put("filler", item, 2 if after.text in _CLASS_LETTERS else 1)
        if before.text in _MONTHS and item.number <= _LONGEST_MONTH:
            before.role, before.value = "filler", ""
            return self._put("filler", item, 1)
        if after.text in _CLASS_LETTERS and before.text in _IN_CLASS:
            return self._put("filler", item, 2)
        if item.number > 1 and after.text in _COUNTED and not (item.text.isdigit() and after.text in _ALSO_SAID):
            return self._put("filler", item, 1)
        if before.text == "x" and item.text.isdigit():
            return self._put("filler" if item.number == len(self.numbers) else "hedge", item, 1)
        beside = self._beside(item, before, after, beyond)
        if beside:
            return beside
        if after.text in _PUPILS and item.number > max(self.numbers, default=0) and self._good_so_far():
            return self._put("filler", item, 2)
        if after.text == "of" and beyond.text in ("me", "us"):
            return self._put("filler", item, 3)
        if after.text in _PUPILS:
            return self._put("filler" if item.number == len(self.numbers) else "hedge", item, 1)
        if before.text == "only" and self._is_alone_in_trouble(item):
            return 0
        if before.text in ("first", "last", "only") or (after.text == "of" and not beyond.number):
            return self._put("hedge", item, 1)
        ordinal = after.text in ("st", "nd", "rd", "th") and not beyond.number
        return self._put("filler", item, 2) if ordinal else 0

    def _beside(self, item: Item, before: Item, after: Item, beyond: Item) -> int:
        """A number that measures something: a share, an age, a program, how often."""
        if before.role == "both" and after.role == "and" and (beyond.number or beyond.can("numbers")):
            before.role = "filler"
        if after.text in _SHARES:
            return self._put("filler", item, 2)
        counted = after.can("plain") and beyond.role not in _NEWS
        numbered = before.can("plain") and after.role not in _NEWS
        if (counted or numbered) and self._only_good_so_far():
            return self._put("filler", item, 1)
        if item.text == "one" and after.text == "of" and beyond.text in _SOME_GROUP:
            self.out.append(Item("stranger", "several", item.text))
            return 3
        if after.text in _TIMES and before.role not in ("", "hard", "soft", "number", "name", "and"):
            return self._put("filler", item, 2)
        if (before.text.startswith("turn") and item.text.isdigit()) or before.text in _AGED:
            return self._put("filler", item, 1)
        if self._is_of_a_setting(before) or self._is_a_measure(item, before, after):
            return self._put("filler", item, 1)
        return 0

    def _is_of_a_setting(self, before: Item) -> bool:
        """"Stuck on program 3, supposed to be 1": both numbers are programs."""
        if before.role == "parts" and before.value == "SETTING" and "prog" in before.text:
            return True
        told = any(item.role in ("parts", "faults") and item.value == "SETTING" for item in self.out)
        return told and before.text in _INSTEAD

    def _is_a_measure(self, item: Item, before: Item, after: Item) -> bool:
        """"Fever 102": more than any round has, and nothing is said of it."""
        if not item.text.isdigit() or item.number <= max({30, *self.numbers}) or after.role in _NEWS:
            return False
        return before.role in ("faults", "filler", "parts", "bad", "body", "heard") and not after.can("minutes")

    def _good_so_far(self) -> bool:
        return any(item.role == "good" for item in self.out)

    def _only_good_so_far(self) -> bool:
        """Whether good news was told, and nothing that could go on to a student ("just 2", "not 3")."""
        return self._good_so_far() and not any(item.role in _LEADS_ON for item in self.out)

    def _time(self, item: Item, before: Item, after: Item, beyond: Item) -> int:
        """A clock time or minutes."""
        minutes_follow = beyond.role == "number" and len(beyond.text) == 2
        if after.text in (":", ".") and minutes_follow:
            return self._clock(item, 3)
        if after.role == "clock":
            return self._clock(item, 2)
        if _is_minutes(item, after, before):
            if self._takes_a_remedy() or self._took(before) or beyond.text in _AGO:
                return self._put("filler", item, 2)
            return self._minutes(item, item.number * (60 if after.can("hours") else 1), 2)
        student = item.number in self.numbers
        if after.text == "more" and not student:
            return self._minutes(item, item.number, 2)
        certain = before.text in ("at", "@") and after.role in _BREATH_ENDS
        if before.text in _CLOCK_BEFORE and (certain or not student):
            return self._clock(item, 1)
        if student and before.text == "wait" and self._is_alone_in_trouble(item):
            before.role, before.means = "correction", {"correction": ""}
            return 0
        asked = before.role == "wait" and not student
        if asked or self._follows_wait(before, student) or (self.excused and not student and item.role == "number"):
            return self._minutes(item, item.number, 1)
        return self._clock(item, 1) if before.can("at") and not student else 0

    def _takes_a_remedy(self) -> bool:
        """"Charged it 20 min": how long the remedy took, where nobody asks to wait."""
        told = [o.role for o in self.out if o.role in _AROUND_A_REMEDY and o.text not in _UNUSED]
        return told[-1:] == ["fixes"] and not any(item.role in ("wait", "later") for item in self.read)

    def _took(self, before: Item) -> bool:
        """"Took me 4 minutes", "all ok in under 3 minutes": how long the check was."""
        lately = [item.text for item in self.out[-3:] if item.role != "hard"]
        return not _TOOK.isdisjoint(lately) or (before.text == "under" and self._good_so_far())

    def _clock(self, item: Item, width: int) -> int:
        self.counted.clock = True
        return self._put("clock", item, width)

    def _follows_wait(self, before: Item, student: bool) -> bool:
        if before.role == "soft" and len(self.out) > 1:
            return self.out[-2].role in ("wait", "mine") and self.out[-2].can("within")
        return before.can("within") and not (student and before.text in _MAY_NAME_A_STUDENT)

    def _pair(self, item: Item, after: Item, beyond: Item) -> int:
        """Two numbers with something between: a range, a score, a share."""
        if after.can("upto") or after.text == "-":
            return self._range(item.number, beyond.number)
        if item.number == beyond.number == len(self.numbers) and after.text in _OUT_OF:
            return self._put("all", item, 3)
        if after.text in ("of", "out of", "de", "sur", "off"):
            return self._put("hedge", item, 3)
        if after.text != "/":
            return 0
        if {item.number, beyond.number} <= self.numbers and beyond.number not in _SCORES:
            self.out.append(Item("number", text=item.text, number=item.number))
            return self._put("and", after, 2)
        return self._put("score", item, 3)

    def _range(self, first: int, last: int) -> int:
        """All numbers from first to last; one beyond the round is enough to say that it runs past it."""
        if not first < last <= first + 40:
            return 0
        last = max(first, min(last, max(self.numbers, default=0) + 1))
        self.out.extend(Item("number", text=str(n), number=n) for n in range(first, last + 1))
        return 3

    def _whole(self, item: Item, before: Item) -> int:
        """ "All four": a count that says who "all" are, or a doubt where it is another."""
        plural = not item.text.isdigit() or before.text in _PLURAL_THE
        if before.text in _THE and item.number == len(self.numbers) > 1 and plural:
            before.role, before.value = "filler", ""
            self.out.append(Item("all", text=item.text))
            return 1
        if before.role == "rest":
            named = {other.number for other in self.out if other.role in ("number", "name")}
            return self._put("filler" if item.number == len(self.numbers - named) else "hedge", item, 1)
        if before.role not in ("all", "both"):
            return 0
        return self._put("filler" if item.number == len(self.numbers) else "hedge", item, 1)

    def _student(self, item: Item, before: Item, after: Item, beyond: Item) -> int:
        self.out.append(Item("number", text=item.text, number=item.number))
        first = before is _NONE
        labels = first or before.role == "hard" or after.text == self.label_mark
        if not (labels and _is_label_mark(after, beyond)):
            return 1
        self.label_mark = after.text if first else self.label_mark
        return 2


_NONE = Item("")
# What is counted beside the news and is no student.
_COUNTED = frozenset({"hands", "times", "tries", "goes", "days", "weeks", "months", "years", "people", "boxes", "packs",
     "things", "attempts", "adults", "teachers", "staff", "fingers", "spares", "minds", "pairs", "sets"})  # fmt: skip
_ALSO_SAID = frozenset({"hands", "times", "tries", "goes", "things", "people", "fingers", "minds"})
_OUT_OF = frozenset({"/", "of", "out of", "de", "sur", "for"})
_SCORES = (6, 10)
_SIX = 6
_OF_SIX = frozenset({"of 6", "of six", "out of 6", "out of six"})
_CLASS_LETTERS = frozenset("abcdefg")
_IN_CLASS = frozenset({"in", "from", "class", "my class", "of"})
_MONTHS = frozenset(
    {"jan", "january", "feb", "february", "april", "june", "july", "aug", "august", "sept", "september", "oct"}
    | {"october", "nov", "november", "dec", "december"}
)
_LONGEST_MONTH = 31
_PUPILS = frozenset({"kids", "students", "children", "kiddos", "ninos", "alumnos", "enfants", "eleves"})
_SOME_GROUP = frozenset({"them", "em", "the", "my", "mine", "our", "these", "those", "the kids", "my kids", "kids"})
_AROUND_A_REMEDY = frozenset({"hard", "fixes", "wait", "good", "mine"})
_UNUSED = frozenset({"new", "spare", "fresh", "a new", "the new"})
_TOOK = frozenset({"took", "takes", "taken", "spent", "lasted"})
_AGO = frozenset({"before", "ago", "early", "late", "ahead", "to spare"})
_ENDMOST = frozenset({"first", "last"})
_COUPLE = frozenset({"couple", "pair"})
_UNCOUNTED = frozenset({"min", "mins", "minutes", "lessons", "periods", "nights", "classes", "time"})
_LEADS_ON = frozenset({"but", "except", "not", "no", "notyet", "hedge", "later", "question", "missed", "and", "query"})
_SHARES = frozenset({"percent", "%", "degrees"})
_TIMES = frozenset({"x", "times"})
_AGED = frozenset({"aged", "age"})
_INSTEAD = frozenset(
    {"supposed to", "supposed to be", "supposed to be on", "should be", "should be on", "meant to be", "instead of"}
    | {"on", "be", "be on", "not"}
)
_BAD_NEWS = frozenset({"away", "faults", "parts", "bad", "dead", "gone", "notok", "missed", "late", "notyet"})
_NEWS = _BAD_NEWS | {"good", "fixed", "fixes", "goodrest"}
_THE = frozenset({"the", "los", "las", "les", "my", "mis", "mes"})
_PLURAL_THE = _THE - {"the"}
_CLOCK_BEFORE = frozenset({"at", "by", "until", "till", "til", "after", "before", "@", "las", "a las"})
_BREATH_ENDS = frozenset({"", "hard", "soft", "query", "thanks", "filler"})
_MAY_NAME_A_STUDENT = frozenset({"for", "about", "need", "in", "after", "busy", "with"})


def _leftover(item: Item, after: Item) -> Item:
    """A dash that is no range is a pause; "room" without its number is only a word, and a short one no word."""
    if item.role == "upto" and item.text == "-":
        item.role = "soft"
    elif item.role == "room" and after.role != "number" and item.can("hard"):
        item.role = "hard"
    elif item.role == "room" and after.role != "number":
        item.role = "filler" if len(item.text) > 3 else "unknown"
    elif item.role == "upto" and item.can("filler"):
        item.role = "filler"
    elif item.role == "minutes":
        item.role = "unknown"
    return item


def _is_word_number(read: list[Item], at: int) -> bool:
    item = read[at]
    if not item.can("numbers") or item.text not in _ALSO_WORDS:
        return item.can("numbers")
    if item.text == "one" and [after.text for after in read[at + 1 : at + 2]] == ["of"]:
        return len(read) > at + 2 and read[at + 2].text in _SOME_GROUP
    if item.text in ("un", "une"):
        return any(other.number or other.can("numbers") for other in read[at + 1 : at + 3])
    if not at:
        return True
    after = read[at + 1].role if at + 1 < len(read) else ""
    return read[at - 1].role in _BEFORE_A_NUMBER and after not in ("", "unknown", "filler", "past")


_ALSO_WORDS = frozenset({"one", "uno", "una", "un", "une", "to", "for", "won", "tow"})
_BEFORE_A_NUMBER = frozenset({"and", "soft", "hard", "upto", "number"})


def _is_label_mark(after: Item, beyond: Item) -> bool:
    """Whether the mark after a number only sets it off at the start of a line ("2. bat")."""
    return after.text in (".", "-", ")", ":") and beyond.role not in ("", "hard", "number")


def _is_minutes(item: Item, after: Item, before: Item) -> bool:
    if after.text in ("m", "h"):
        return item.number >= 5 or before.can("within")
    return after.can("minutes") or after.can("hours")
