"""What a message is about: one letter per purpose, as plain facts.

Times are the school's wall clock, already written `HH:MM`; a day is added by the caller where it is not
today ("Friday 08:05"). Letters carry the child's alias, never a name, and only what the purpose needs.
"""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from service.core.district import Role, Severity, Side
from service.core.listening.worth import Pattern
from service.core.reading import Result


@dataclass(frozen=True)
class Reader:
    """Who reads. `shared`: many people see the channel, so it gets the link only. `outside`: a contact
    beyond the district, who is reminded what the message may be used for.
    """

    role: Role
    shared: bool = False
    outside: bool = False

    @property
    def guardian(self) -> bool:
        """Whether the child is "your child" to the reader."""
        return self.role is Role.GUARDIAN


@dataclass(frozen=True)
class Next:
    """The chain's next contact and when they are told."""

    role: Role
    at: str


@dataclass(frozen=True)
class Item:
    """One student in a message, under the number it keeps for the life of the round.

    `device` says which devices ("left processor", see `names.device_words`), `side` the side of a fault
    ("left", "right", "both" or empty). `code` and `label` are the fault's; `sounds` says what was said of them
    (see `names.sound_words`); `since` when an open fault
    was first reported. `remedy`, `never` and `cautions` are shown to those who are with the child.
    """

    number: int
    alias: str
    device: str = ""
    side: str = ""
    code: str = ""
    label: str = ""
    result: Result | None = None
    sounds: str = ""
    since: str = ""
    remedy: tuple[str, ...] = ()
    never: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Prompt:
    """Asks a checker for a round. `by` is when the next contact is told; `before` the bell, if any."""

    to: Reader
    by: str
    items: tuple[Item, ...]
    place: str
    before: str = ""
    late_since: str = ""


@dataclass(frozen=True)
class Reminder:
    """Asks the same checker again, for what is still open."""

    to: Reader
    by: str
    items: tuple[Item, ...]
    place: str
    next: Next | None = None


@dataclass(frozen=True)
class SilentRound:
    """A round, or what is left of it, that nobody has answered since `since`."""

    school: str
    place: str
    since: str
    items: tuple[Item, ...]


@dataclass(frozen=True)
class Second:
    """Silence, told to the second checker or a later contact.

    `with_child`: the reader can do the check and sees who it is about; others see place and count.
    """

    to: Reader
    rounds: tuple[SilentRound, ...]
    by: str = ""
    next: Next | None = None
    with_child: bool = False
    late_since: str = ""


@dataclass(frozen=True)
class Alert:
    """A fault, told to a contact. `child` is a name only where the district lets an emergency carry it.

    `tried`: the first remedy did not help or brought no answer. `number` is the emergency number.
    """

    to: Reader
    severity: Severity
    items: tuple[Item, ...]
    place: str
    school: str
    reported_at: str
    reported_by: Role
    by: str = ""
    next: Next | None = None
    tried: bool = False
    again: bool = False
    late_since: str = ""
    number: str = ""
    child: str = ""


@dataclass(frozen=True)
class Promise:
    """To somebody who said "mine": the time granted, or (`passed`) that it is over and still unsettled."""

    to: Reader
    items: tuple[Item, ...]
    place: str
    until: str
    passed: bool = False
    shortened: bool = False
    next: Next | None = None


class Event(StrEnum):
    """What a piece of news tells."""

    ANSWERED = "answered"
    WORKING = "working"
    FIXED = "fixed"
    LOANER = "loaner"
    HOME = "gone home"
    SAID_WORKING = "said to be working"
    TAKEN_OVER = "taken over"
    TAKEN_BACK = "taken back"
    CHANGED = "changed"
    FOUND = "found"
    MEDICAL_HELP = "with medical help"


@dataclass(frozen=True)
class News:
    """How something the reader was told about went on. `by` said so; None: the service worked it out."""

    to: Reader
    event: Event
    items: tuple[Item, ...]
    place: str
    at: str
    by: Role | None = None
    until: str = ""


@dataclass(frozen=True)
class NoCheck:
    """A notice made the check pointless. `reason` in the notice's own words ("closed", "away")."""

    to: Reader
    place: str
    reason: str
    by: Role
    at: str
    day: str = "today"
    items: tuple[Item, ...] = ()


class Said(StrEnum):
    """What else an answer has to tell the person who wrote."""

    UNDONE = "undone"
    TOO_LATE = "too late to undo"
    NOT_CALLED_BACK = "not called back"
    WAITING = "waiting"
    PASSED_ON = "passed on"
    NOBODY_ELSE = "nobody else"
    IN_HAND = "in hand"
    LATE = "late"
    AFTER_DAY = "after the day"
    ALARM_GOES_ON = "alarm goes on"
    SAID_WORKING = "said to be working"
    LOANER = "loaner"
    NEXT_TIME = "asked again"
    SEEN = "seen by a person"
    NOTICE = "notice"
    EMERGENCY_OVER = "emergency over"
    NOTHING = "nothing to record"
    NO_MORE_TIME = "no more time"
    NOT_YOURS = "not your turn"
    ALREADY_TOLD = "already told"
    REPLACED = "replaced"


@dataclass(frozen=True)
class Note:
    """One sentence of an answer beyond what was recorded; `until` and `role` where the sentence has them."""

    said: Said
    until: str = ""
    role: Role | None = None


@dataclass(frozen=True)
class Ahead:
    """With whom some things are now, and who is told of them next; without either nothing is running."""

    items: tuple[Item, ...] = ()
    now: Role | None = None
    next: Next | None = None


@dataclass(frozen=True)
class Answer:
    """One line back to who wrote: what was recorded, what is still open, who is told `next` of that; then the first
    remedy. `ahead` answers "who".

    `try_until` is when the chain is told if nobody says whether the remedy helped. `earlier`: what was written
    answered an earlier day's message, so that nothing of today is said by it.
    """

    to: Reader
    recorded: tuple[Item, ...] = ()
    open: tuple[Item, ...] = ()
    notes: tuple[Note, ...] = ()
    try_until: str = ""
    next: Next | None = None
    ahead: tuple[Ahead, ...] = ()
    earlier: bool = False


@dataclass(frozen=True)
class Help:
    """How to answer, asked for by `help`. `checker`: answers a round; else an alert. `like` are answers that could be
    given to this very message, each in quotation marks.
    """

    to: Reader
    items: tuple[Item, ...] = ()
    checker: bool = True
    like: tuple[str, ...] = ()


class About(StrEnum):
    """What a question is about. The first values are those of `service.core.reading.Doubt`."""

    UNCLEAR = "unclear"
    NOT_OK = "not ok"
    WHICH_STUDENT = "which student"
    WHICH_SIDE = "which side"
    NO_SUCH_STUDENT = "no such student"
    NO_SUCH_DEVICE = "no such device"
    HEDGED = "hedged"
    LATER = "later"
    PLEASE_ACT = "please act"
    UNPROVEN = "unproven"
    STILL_A_FAULT = "still a fault"
    CONFIRM_FOUND = "confirm found"
    CONFIRM_HELP = "confirm medical help"
    WHICH_ROUND = "which round"
    WHICH_ONE = "which one"


@dataclass(frozen=True)
class OpenRound:
    """A round as its checker can name it: the word to answer, its time, its room."""

    word: str
    time: str
    room: str


@dataclass(frozen=True)
class Ask:
    """One thing to ask; `items` are the students concerned (none: the whole reply). For "later", `again` is when the
    person is asked anew, `next` who is told after that, `number` that of a student for an example. `rounds` are those
    that could be meant.
    """

    about: About
    items: tuple[Item, ...] = ()
    by: Role | None = None
    again: str = ""
    next: Next | None = None
    rounds: tuple[OpenRound, ...] = ()
    number: int | None = None


@dataclass(frozen=True)
class Question:
    """Asks back. The clock keeps running meanwhile; `recorded` is what was clear in the same reply."""

    to: Reader
    asks: tuple[Ask, ...]
    recorded: tuple[Item, ...] = ()
    open: tuple[Item, ...] = ()


@dataclass(frozen=True)
class Caution:
    """The emergency text to who reported: what to do now, before anything else is sent.

    `number`, `text_route` and `poison` are the district's; `remedy` and `never` the fault code's. `held`: the service
    tells nobody now, so the reporter has to.
    """

    to: Reader
    number: str
    text_route: str
    remedy: tuple[str, ...]
    never: tuple[str, ...]
    poison: str = ""
    held: bool = False


@dataclass(frozen=True)
class ChainEnd:
    """Nobody is left to tell. `again`: said before, still open."""

    to: Reader
    items: tuple[Item, ...]
    place: str
    school: str
    since: str
    silent: bool = False
    told: tuple[Role, ...] = ()
    again: bool = False


@dataclass(frozen=True)
class Unreached:
    """Somebody's message found no working way; the chain went on to `next` without them."""

    to: Reader
    role: Role
    place: str
    at: str
    next: Next | None = None


@dataclass(frozen=True)
class SchoolCount:
    """How many checks of a school ended the day without an answer, or were never asked."""

    school: str
    unanswered: int = 0
    not_asked: int = 0


@dataclass(frozen=True)
class DayEnd:
    """One summary at the day's end: what stayed unanswered, and what the service could not ask."""

    to: Reader
    schools: tuple[SchoolCount, ...]
    down: str = ""


@dataclass(frozen=True)
class DaysMissed:
    """One summary of the school days that went by without the service, with what they left at each school."""

    to: Reader
    days: tuple[date, ...]
    schools: tuple[SchoolCount, ...]


@dataclass(frozen=True)
class NoRounds:
    """Nobody was asked at a school today, though the first check was due at `since`."""

    to: Reader
    school: str
    since: str


@dataclass(frozen=True)
class Misread:
    """To a coordinator: somebody's answers were not understood, the first at `first`, the last at `at`."""

    to: Reader
    school: str
    place: str
    role: Role
    first: str
    at: str


@dataclass(frozen=True)
class Absent:
    """To a coordinator: a program has answered in somebody's absence."""

    to: Reader
    school: str
    role: Role
    at: str


@dataclass(frozen=True)
class Week:
    """Once a week: the small things that were recorded, watched and alarmed nobody (C5)."""

    to: Reader
    items: tuple[Item, ...]
    school: str


@dataclass(frozen=True)
class WorthLooking:
    """One change that is worth looking at: which sounds, on which `side` (None: both, or as worn)."""

    pattern: Pattern
    side: Side | None
    sounds: tuple[str, ...]


@dataclass(frozen=True)
class Slip:
    """To the audiologist, once: a child misses sounds more often than is usual for it, `missed` of `checks`."""

    to: Reader
    item: Item
    worth: tuple[WorthLooking, ...]
    missed: int
    checks: int


@dataclass(frozen=True)
class Roster:
    """Before a term: asks a checker to confirm or correct whom they check, where, and with which devices."""

    to: Reader
    items: tuple[Item, ...]
    school: str
    term: str
    first: str


@dataclass(frozen=True)
class LowShelf:
    """A shelf that has run low: where, or of which child its family's own spares; what is on it, how many are left, by
    which day it is likely empty ("": not known), and how many to order.
    """

    place: str
    own_of: str
    what: str
    left: int
    by: str
    order: int


@dataclass(frozen=True)
class LowShelves:
    """To whoever keeps the shelves: these have run low since they were told of others."""

    to: Reader
    shelves: tuple[LowShelf, ...]


Letter = (
    Prompt
    | Reminder
    | Second
    | Alert
    | Promise
    | News
    | NoCheck
    | Answer
    | Help
    | Question
    | Caution
    | ChainEnd
    | Unreached
    | DayEnd
    | DaysMissed
    | NoRounds
    | Roster
    | Slip
    | Misread
    | Absent
    | Week
    | LowShelves
)
