"""What a reply, a page or a contact said, as values: the language between hearing and deciding."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

from service.core.district import Device, Side
from service.core.sounds import SIX


class Result(StrEnum):
    """How a check stands or ended; the words of the record."""

    WORKING = "working"
    FIXED = "fixed"
    FAULT = "fault"
    AWAY = "away"
    NOT_DONE = "not done"
    UNANSWERED = "unanswered"
    NOT_ASKED = "not asked"
    NO_CHECK = "no check"


class NotDone(StrEnum):
    """Why a check could not be done."""

    NO_TIME = "no time"
    NOT_ARRIVED = "not arrived yet"
    TRIP = "trip"
    NO_TOOL = "no tool"
    NOT_TRAINED = "not trained"
    TOO_NOISY = "too noisy"


class Then(StrEnum):
    """What is to happen with a check that could not be done."""

    NEXT_BELL = "ask me at the next bell"
    SECOND = "ask the second checker"
    NOT_TODAY = "not today"


@dataclass(frozen=True)
class Fault:
    """A fault code on a side; the side is None where nobody said and more than one device fits."""

    code: str
    side: Side | None = None


@dataclass(frozen=True)
class HeardOn:
    """What was said of the sounds on one side (None: with everything as worn): those `missed`, each said twice,
    and those `noticed` but not named. All others were heard.
    """

    side: Side | None = None
    missed: tuple[str, ...] = ()
    noticed: tuple[str, ...] = ()


@dataclass(frozen=True)
class Listened:
    """What was said of a listening check itself: the sides that were spoken of, and how many silences were answered.

    `silences` is how many there were in that day's order; None where nobody knows.
    """

    sides: tuple[HeardOn, ...] = ()
    false: int = 0
    silences: int | None = None


@dataclass(frozen=True)
class Outcome:
    """What was said about one student: `working`, `fixed`, `fault`, `away`, or `not done` with its `reason`,
    what is to happen `then`, and the `bell` (a name or HH:MM) at which to ask again. `listened` is None where
    nothing was said of the sounds themselves.
    """

    result: Result
    faults: tuple[Fault, ...] = ()
    missed_sounds: tuple[str, ...] = ()
    reason: NotDone | None = None
    then: Then | None = None
    bell: str | None = None
    listened: Listened | None = None


class Command(StrEnum):
    """Conversation words."""

    HELP = "help"
    UNDO = "undo"
    WAIT = "wait"
    NOT_ME = "not-me"
    MINE = "mine"
    WORKING = "working"
    LOANER = "loaner"
    CANNOT = "cannot"
    WHO = "who"


class Aside(StrEnum):
    """Words that mean something only as an answer to what we asked last."""

    YES = "yes"
    NO = "no"
    FOUND = "found"
    MEDICAL_HELP = "with medical help"


class Doubt(StrEnum):
    """Why something has to be asked back."""

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
    WHICH_ONE = "which one"


@dataclass(frozen=True)
class Question:
    """One thing to ask back; `numbers` are the students concerned (none: the whole reply)."""

    doubt: Doubt
    numbers: tuple[int, ...] = ()


class Audience(StrEnum):
    """Who is answering: a checker a round, a contact an alert."""

    CHECKER = "checker"
    CONTACT = "contact"


@dataclass(frozen=True)
class AskedStudent:
    """A student as a message numbered them; `sounds` are those of the check (none: it has no listening part)."""

    number: int
    alias: str
    devices: tuple[Device, ...]
    nicknames: tuple[str, ...] = ()
    sounds: tuple[str, ...] = SIX


@dataclass(frozen=True)
class Asked:
    """What the person was asked about, so that numbers, names and sides can be understood."""

    audience: Audience
    students: tuple[AskedStudent, ...]
    language: str = "en"


@dataclass(frozen=True)
class Reading:
    """What a text was read as. Only students whom the text settles are in `outcomes`.

    `minutes` goes with `wait` and `mine`. `questions` say what must be asked; `emergency` means that the
    caution text and the emergency chain go out even where no student is named. `pointed` holds the numbers
    of students the text points at by number, alias or being the only one asked about: a blanket "ok" points
    at nobody (rule C8). `because` names the words that led to each part, for `read-reply`.
    """

    outcomes: Mapping[int, Outcome] = field(default_factory=dict)
    command: Command | None = None
    minutes: int | None = None
    questions: tuple[Question, ...] = ()
    emergency: bool = False
    aside: Aside | None = None
    pointed: frozenset[int] = frozenset()
    because: tuple[str, ...] = ()

    @property
    def ask(self) -> bool:
        """Whether some part must be asked about before it is recorded."""
        return bool(self.questions)


def only_raising(reading: Reading) -> Reading:
    """What counts of words whose sender is not proven (C21): they can raise an alarm, never lower one. What
    is left out is asked about.
    """
    faults = {n: o for n, o in reading.outcomes.items() if o.result is Result.FAULT}
    command = reading.command if reading.command is Command.HELP else None
    aside = reading.aside if reading.aside is Aside.NO else None
    kept = replace(reading, outcomes=faults, command=command, aside=aside)
    if kept == reading:
        return reading
    left_out = tuple(n for n in reading.outcomes if n not in faults)
    return replace(kept, questions=(*reading.questions, Question(Doubt.UNPROVEN, left_out)))
