"""Letters for the tests of wording: every purpose, in every variant that changes its words."""

from dataclasses import replace
from datetime import date, timedelta
from itertools import product

from service.core.devices import catalogue
from service.core.district import Role, Severity
from service.core.reading import Result
from service.wording.letters import (
    About,
    Absent,
    Alert,
    Answer,
    Ask,
    Caution,
    ChainEnd,
    DayEnd,
    DaysMissed,
    Event,
    Help,
    Item,
    Letter,
    LowShelf,
    LowShelves,
    Misread,
    News,
    Next,
    NoCheck,
    NoRounds,
    Note,
    OpenRound,
    Promise,
    Prompt,
    Question,
    Reader,
    Reminder,
    Said,
    SchoolCount,
    Second,
    SilentRound,
    Slip,
    Unreached,
    WorthLooking,
)
from service.wording.names import WORTH

CODES = catalogue()
CHECKER = Reader(Role.CHECKER)
COORDINATOR = Reader(Role.COORDINATOR)
OPEN = (OpenRound("1", "08:05", "Room 12"), OpenRound("2", "08:20", "Room 7"))
GUARDIAN = Reader(Role.GUARDIAN)
CLINIC = Reader(Role.CLINIC, outside=True)
SHARED = Reader(Role.CHECKER, shared=True)
READERS = (CHECKER, COORDINATOR, GUARDIAN, CLINIC, SHARED)

NEXT = Next(Role.COORDINATOR, "08:31")
MISSED, WEEK = date(2026, 11, 30), timedelta(days=7)
ROOM, SCHOOL = "Room 12", "Hollow Road"


def working(number: int, alias: str, device: str = "both hearing aids") -> Item:
    return Item(number, alias, device, result=Result.WORKING)


def faulty(number: int, alias: str, code: str, side: str = "left") -> Item:
    shipped = CODES[code]
    return Item(
        number,
        alias,
        "left processor",
        side,
        code,
        shipped.label,
        Result.FAULT,
        "Monday",
        shipped.remedy,
        shipped.never,
        shipped.cautions,
    )


def silent(*items: Item, school: str = SCHOOL, place: str = ROOM, since: str = "08:05") -> SilentRound:
    return SilentRound(school, place, since, items)


def caution(to: Reader = CHECKER) -> Caution:
    swallowed = CODES["SWALLOWED"]
    return Caution(to, "000", "write to 000 from any phone", swallowed.remedy, swallowed.never, "1-000-0")


def low(own_of: str = "", left: int = 3, by: str = "Thursday week (15 October)") -> LowShelf:
    return LowShelf(ROOM, own_of, "size-13 cells", left, by, 12)


def every_letter(to: Reader, items: tuple[Item, ...]) -> list[Letter]:
    """Each kind of letter about `items`, with every switch on and off."""
    flags = (False, True)
    letters: list[Letter] = []
    for on in flags:
        then, late = (NEXT, "08:12") if on else (None, "")
        by = "08:20" if on else ""
        letters += [
            Prompt(to, "08:20", items, ROOM, "Period 1" if on else "", late),
            Reminder(to, "08:20", items, ROOM, then),
            *(Second(to, (silent(*items),) * n, by, then, on, late) for n in (1, 2, 9)),
            *(Promise(to, items, ROOM, "09:10", passed, on, then) for passed in flags),
            NoCheck(to, ROOM, "closed", Role.COORDINATOR, "08:22", "tomorrow", items if on else ()),
            Answer(to, items, items if on else (), tuple(map(Note, Said)), "08:16" if on else ""),
            Help(to, items if on else (), on, ('"1 ok"', '"2 left cable"', '"2 fixed"', '"3 away"')),
            Misread(to, SCHOOL, ROOM, Role.CHECKER, "08:06", "08:09"),
            Absent(to, SCHOOL, Role.CHECKER, "08:06"),
            LowShelves(to, (low(left=3 * on),)),
            LowShelves(to, (low("Wren", by="" if on else "Friday (9 October)"), low(left=0), low("Wren", left=0))),
            ChainEnd(to, items, ROOM, SCHOOL, "08:06", on, (Role.CHECKER, Role.CLINIC) if on else (), on),
            Unreached(to, Role.SECOND, ROOM, "08:17", then),
            NoRounds(to, SCHOOL, "08:05"),
            *(Slip(to, items[0], (WorthLooking(*where, ("sh", "s")),) * (1 + on), 3, 7) for where in WORTH),
            DaysMissed(to, (MISSED, MISSED + WEEK)[: 1 + on], (SchoolCount(SCHOOL, 4, 9),) * (6 if on else 1)),
            DayEnd(to, (SchoolCount(SCHOOL, 4, int(on)),) * (6 if on else 1), late),
        ]
        letters += [
            Alert(to, severity, items, ROOM, SCHOOL, "08:06", Role.CHECKER, by, then, on, again, late, "000")
            for severity, again in product(Severity, flags)
        ]
        teller = Role.CHECKER if on else None
        letters += [News(to, event, items, ROOM, "08:08", teller, by) for event in Event]
        asks = [Ask(about, items if on else (), teller, rounds=OPEN) for about in About]
        letters += [Question(to, (ask,), items if on else (), items) for ask in asks]
        letters += [Question(to, tuple(asks[:3]), items, items)]
    return [*letters, caution(to), replace(caution(to), poison="", held=True)]
