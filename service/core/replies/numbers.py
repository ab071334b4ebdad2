"""What the numbers of a reply count: students, minutes, a clock time, a room, a score, a whole class."""

from dataclasses import dataclass

from service.core.reading import Asked
from service.core.replies.item import Item

MOST_MINUTES = 600


@dataclass(slots=True)
class Counted:
    """Minutes asked for, whether a clock time was named, and whether the audience wrote a number that fits nothing."""

    minutes: int | None = None
    clock: bool = False


def settle_numbers(read: list[Item], asked: Asked) -> tuple[list[Item], Counted]:
    """`read` with every number given its role, and the minutes found on the way."""
    counted = Counted()
    for item in read:
        if item.can("numbers"):
            item.number = int(item.means["numbers"])
    excused = any(item.role in ("excuse", "wait") for item in read)
    out: list[Item] = []
    at = 0
    while at < len(read):
        item = read[at]
        if item.role == "durations":
            counted.minutes = counted.minutes or int(item.value)
            out.append(Item("minutes", text=item.text))
            at += 1
        elif item.role == "number" or _is_word_number(read, at):
            at += _number(read, at, out, counted, asked, excused)
        else:
            out.append(_leftover(item, read[at + 1] if at + 1 < len(read) else None))
            at += 1
    return out, counted


def _leftover(item: Item, after: Item | None) -> Item:
    """A dash that is no range is a pause; "room" without its number is only a word, and a short one no word."""
    if item.role == "upto" and item.text == "-":
        item.role = "soft"
    elif item.role == "room" and (after is None or after.role != "number"):
        item.role = "filler" if len(item.text) > 3 else "unknown"
    elif item.role == "minutes":
        item.role = "unknown"
    return item


def _is_word_number(read: list[Item], at: int) -> bool:
    item = read[at]
    if not item.can("numbers"):
        return False
    before = read[at - 1] if at else None
    after = read[at + 1] if at + 1 < len(read) else None
    if item.text in _ALSO_WORDS:
        return before is None or (
            before.role in ("and", "soft", "hard", "upto", "number") and after is not None and after.role not in ("unknown", "filler", "past")
        )
    return True


_ALSO_WORDS = frozenset({"one", "uno", "una", "un", "une", "to", "for", "won", "tow"})


def _number(read: list[Item], at: int, out: list[Item], counted: Counted, asked: Asked, excused: bool) -> int:
    """Append what the number at `at` is and say how many items that took."""
    item = read[at]
    after = read[at + 1] if at + 1 < len(read) else None
    beyond = read[at + 2] if at + 2 < len(read) else None
    before = out[-1] if out else None
    if before is not None and before.can("room") and not before.can("minutes"):
        out.append(Item("filler", text=item.text))
        return 1
    if (before is not None and before.text in ("first", "last", "only")) or (after is not None and after.text == "of" and not (beyond is not None and beyond.number)):
        out.append(Item("hedge", text=item.text))
        return 1
    if after is not None and after.text in ("st", "nd", "rd", "th"):
        out.append(Item("filler", text=item.text))
        return 2
    if after is not None and beyond is not None and beyond.number and after.text in (":", ".") and beyond.role == "number" and len(beyond.text) == 2:
        out.append(Item("clock", text=item.text))
        counted.clock = True
        return 3
    if after is not None and after.role == "clock":
        out.append(Item("clock", text=item.text))
        counted.clock = True
        return 2
    if after is not None and _is_minutes(item, after, before, asked):
        counted.minutes = counted.minutes or min(item.number * (60 if after.can("hours") else 1), MOST_MINUTES)
        out.append(Item("minutes", text=item.text))
        return 2
    student = _is_student(item, asked)
    if before is not None and _follows_wait(out, student) or (excused and not student and item.role == "number"):
        counted.minutes = counted.minutes or min(item.number, MOST_MINUTES)
        out.append(Item("minutes", text=item.text))
        return 1
    if before is not None and before.role == "at" and not _is_student(item, asked):
        out.append(Item("clock", text=item.text))
        counted.clock = True
        return 1
    if after is not None and beyond is not None and beyond.number:
        taken = _pair(item, after, beyond, out, asked)
        if taken:
            return taken
    if before is not None and before.role in ("all", "both"):
        whole = item.number == len(asked.students)
        out.append(Item("filler" if whole else "hedge", text=item.text))
        return 1
    out.append(Item("number", text=item.text, number=item.number))
    labels = before is None or before.role == "hard"
    return 2 if labels and _is_label_mark(after, beyond) else 1


def _is_label_mark(after: Item | None, beyond: Item | None) -> bool:
    """Whether the mark after a number only sets it off at the start of a line ("2. bat")."""
    return after is not None and after.text in (".", "-", ")", ":") and beyond is not None and beyond.role not in ("hard", "number")


def _is_student(item: Item, asked: Asked) -> bool:
    return any(student.number == item.number for student in asked.students)


def _is_minutes(item: Item, after: Item, before: Item | None, asked: Asked) -> bool:
    if after.text in ("m", "h"):
        return item.number >= 5 or (before is not None and before.can("within"))
    return after.can("minutes") or after.can("hours")


def _follows_wait(out: list[Item], student: bool) -> bool:
    before = out[-1]
    if before.role == "soft" and len(out) > 1:
        before = out[-2]
        return before.role in ("wait", "mine") and before.can("within")
    return before.can("within") and not (student and before.text in _MAY_NAME_A_STUDENT)


_MAY_NAME_A_STUDENT = frozenset({"for", "about", "need", "in", "after", "busy", "with"})


def _pair(item: Item, after: Item, beyond: Item, out: list[Item], asked: Asked) -> int:
    """Two numbers with something between: a range, a score, a share."""
    if after.can("upto") or (after.role == "soft" and after.value == "-"):
        if item.number < beyond.number <= item.number + 40:
            last = min(beyond.number, max(s.number for s in asked.students) + 1) if asked.students else item.number
            out.extend(Item("number", text=str(n), number=n) for n in range(item.number, max(last, item.number) + 1))
            return 3
        return 0
    if after.text in ("of", "out of", "de", "sur", "off"):
        out.append(Item("hedge", text=f"{item.text} {after.text} {beyond.text}"))
        return 3
    if after.role == "soft" and after.value == "/":
        students = _is_student(item, asked) and _is_student(beyond, asked)
        if students and beyond.number not in (6, 10):
            out.append(Item("number", text=item.text, number=item.number))
            out.append(Item("and", text="/"))
            return 2
        out.append(Item("score", text=f"{item.text}/{beyond.text}", number=item.number))
        return 3
    return 0
