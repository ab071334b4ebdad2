"""State, events and effects of a chase, as frozen values. Instants are aware UTC."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from enum import StrEnum

from service.core.district import Limit, Settings, Severity


class Why(StrEnum):
    """The cause of a chase."""

    SILENCE = "silence"
    FAULT = "fault"
    UNDELIVERABLE = "undeliverable"


class Phase(StrEnum):
    """Where a chase stands; the words of board and record."""

    TRYING = "trying first"
    CLIMBING = "climbing"
    IN_HAND = "in hand"
    SAID = "said to be working"
    HOLDING = "until next school day"
    NOBODY_LEFT = "nobody left to tell"
    ALARM = "alarm"
    OVER = "over"


class Ended(StrEnum):
    """How a chase ended."""

    ANSWERED = "answered"
    PUT_RIGHT = "put right"
    LOANER = "loaner"
    AWAY = "away"
    NO_CHECK = "no check"
    ASK_LATER = "asked again later"
    UNANSWERED = "unanswered"
    NOT_ASKED = "not asked"
    TAKEN_BACK = "taken back"
    OUTWEIGHED = "outweighed"
    FOUND = "found"
    MEDICAL_HELP = "with medical help"


class Purpose(StrEnum):
    """What a message is for."""

    PROMPT = "prompt"
    REMINDER = "reminder"
    SECOND = "second"
    ALERT = "alert"
    PROMISE = "promise"
    NEWS = "news"
    NO_CHECK = "no_check"
    ANSWER = "answer"
    QUESTION = "question"
    CAUTION = "caution"
    CHAIN_END = "chain_end"


@dataclass(frozen=True)
class Turn:
    """A step of the chain as it was when the chase began (C18): who may be told, for how long, and how."""

    label: str
    people: tuple[str, ...]
    limit: Limit
    channels: tuple[str, ...] = ()
    any_hour: bool = False
    purpose: Purpose = Purpose.ALERT


@dataclass(frozen=True)
class Told:
    """One person told at one step. `due` is when the turn came to them; `posted` when a message left for
    them; `accepted` when a channel took it.
    """

    person: str
    step: int
    due: datetime
    posted: datetime | None = None
    accepted: datetime | None = None


@dataclass(frozen=True)
class InHand:
    """Somebody said "mine" until `until`; `holds` says whether the climb waits for it (C6), `was` in which phase
    the chase was, to which an undo returns it (C9).
    """

    person: str
    until: datetime
    holds: bool = True
    asks: bool = True
    was: Phase = Phase.CLIMBING


@dataclass(frozen=True)
class Pending:
    """An emergency's end, said but not yet confirmed by the same person."""

    person: str
    how: Ended
    at: datetime


@dataclass(frozen=True)
class End:
    """How, when and by whom a chase ended, and the phase it was in, to which an undo returns it (C9)."""

    how: Ended
    at: datetime
    by: str | None
    was: Phase


@dataclass(frozen=True)
class Chase:
    """One run of a chain for one cause about one check.

    `step` is the turn last told or passed over (-1: none); `step_due` when that turn came, from which its
    limit counts (C2); `next_due` when the next turn comes (None: not by the clock). `involved` are all who
    were told or spoke, and who will hear the end (C7).
    """

    id: str
    why: Why
    school: str
    date: date
    check: str | None
    student: str | None
    round: str | None
    turns: tuple[Turn, ...]
    coordinators: tuple[str, ...]
    phase: Phase
    began: datetime
    severity: Severity | None = None
    faults: tuple[str, ...] = ()
    mine_at_most: timedelta = timedelta(minutes=60)
    carries_on: bool = False
    reminders: int = 1
    reporter: str | None = None
    reported_at: datetime | None = None
    step: int = -1
    step_due: datetime | None = None
    next_due: datetime | None = None
    reminders_due: tuple[datetime, ...] = ()
    try_until: datetime | None = None
    told: tuple[Told, ...] = ()
    involved: tuple[str, ...] = ()
    in_hand: InHand | None = None
    promises: Mapping[str, int] = field(default_factory=dict)
    resume_at: datetime | None = None
    remaining: timedelta | None = None
    again_at: datetime | None = None
    generation: int = 1
    answered: tuple[str, ...] = ()
    closers: tuple[str, ...] = ()
    pending: Pending | None = None
    end: End | None = None

    @property
    def is_open(self) -> bool:
        """Whether the chase still runs."""
        return self.end is None

    @property
    def current(self) -> Told | None:
        """Who was told at the present step, if that step was told to anyone."""
        return next((t for t in reversed(self.told) if t.step == self.step), None)


@dataclass(frozen=True)
class Standing:
    """How a person can be reached on this day: `reason` names why not (away, no_channel), `hours` are the
    instants between which they are at work (None: any hour), `deputies` stand in, in this order, while they are away.
    """

    reason: str | None = None
    hours: tuple[tuple[datetime, datetime], ...] | None = None
    deputies: tuple[str, ...] = ()


@dataclass(frozen=True)
class Scene:
    """The day around a chase: who can be reached, today's bells, the day's edges, the district's settings.

    `bells` maps (name, edge) to an instant; `next_first` is the first bell of the next school day.
    `resting` are people to whom ordinary prompts rest until the instant given (C16).
    """

    first: datetime
    last: datetime
    next_first: datetime | None
    bells: Mapping[tuple[str, str], datetime]
    people: Mapping[str, Standing]
    settings: Settings
    resting: Mapping[str, datetime] = field(default_factory=dict)


@dataclass(frozen=True)
class Began:
    """The chase starts."""


@dataclass(frozen=True)
class Time:
    """The wake instant has come."""


@dataclass(frozen=True)
class Posted:
    """A message about this chase left the tray of `person`."""

    person: str


@dataclass(frozen=True)
class Accepted:
    """A channel accepted the message for `person` (C3: now they are told)."""

    person: str


@dataclass(frozen=True)
class Failed:
    """Every channel of `person` refused for good, or the message bounced."""

    person: str


@dataclass(frozen=True)
class Mine:
    """A contact takes it in hand for `minutes` (None: as long as the chain allows)."""

    person: str
    minutes: int | None


@dataclass(frozen=True)
class Wait:
    """The person whose turn it is asks for `minutes` more; `asks`: and is asked again halfway."""

    person: str
    minutes: int | None
    asks: bool = False


@dataclass(frozen=True)
class Released:
    """`person` takes back the promise or the wish for time that they gave last."""

    person: str


@dataclass(frozen=True)
class Cannot:
    """Whose turn it is, or who has it in hand, cannot do it: "not me", "ask the second checker"."""

    person: str


@dataclass(frozen=True)
class Away:
    """A notice says that `person` is away from now on."""

    person: str


@dataclass(frozen=True)
class NotHelped:
    """The first remedy did not help."""

    person: str


@dataclass(frozen=True)
class SaidWorking:
    """Somebody who is not with the child says that it works (C7)."""

    person: str


@dataclass(frozen=True)
class Again:
    """Somebody reports the same fault again, or one that joins it."""

    person: str


@dataclass(frozen=True)
class Settled:
    """The cause is gone, in the way `how` says; `person` None: nobody in particular."""

    how: Ended
    person: str | None = None


@dataclass(frozen=True)
class Undone:
    """The statement that ended this chase was taken back."""

    person: str


@dataclass(frozen=True)
class TakenBack:
    """The statement that began this chase was taken back."""

    person: str


@dataclass(frozen=True)
class Moved:
    """A delay moved the due time of what was already asked by `by` (C10)."""

    by: timedelta


@dataclass(frozen=True)
class DayOver:
    """The school's last bell."""


@dataclass(frozen=True)
class Answered:
    """Somebody told of an emergency answered anything at all."""

    person: str


@dataclass(frozen=True)
class Found:
    """Somebody says that an emergency is over; it counts once the same person confirms."""

    person: str
    how: Ended


@dataclass(frozen=True)
class Confirmed:
    """The answer to "is that so?"."""

    person: str
    yes: bool


@dataclass(frozen=True)
class WoundUp:
    """The school is taken out of the folder by `person`, in the midst of an emergency."""

    person: str


Event = (
    Began
    | Time
    | Posted
    | Accepted
    | Failed
    | Mine
    | Wait
    | Released
    | Cannot
    | Away
    | NotHelped
    | SaidWorking
    | Again
    | Settled
    | Undone
    | TakenBack
    | Moved
    | DayOver
    | Answered
    | Found
    | Confirmed
    | WoundUp
)


@dataclass(frozen=True)
class Tell:
    """Put a message into somebody's tray. `at_once` messages never wait (C5). `late` marks a step that fell
    due long ago; `due` is then the instant since when.
    """

    person: str
    step: int
    purpose: Purpose
    due: datetime
    at_once: bool = False
    channels: tuple[str, ...] = ()
    generation: int = 1
    late: bool = False


@dataclass(frozen=True)
class News:
    """Tell somebody who was involved how it went on. `soon`: not held for the long news window."""

    person: str
    what: str
    soon: bool = False
    at_once: bool = False


@dataclass(frozen=True)
class Ask:
    """Ask somebody a question about this chase."""

    person: str
    what: str


@dataclass(frozen=True)
class Withdraw:
    """Whatever still waits for `person` about this chase is not sent; `reason` is kept."""

    person: str
    reason: str


@dataclass(frozen=True)
class PassedOver:
    """A turn passed at no cost (C4) or for want of acceptance (C3), and why."""

    person: str
    step: int
    reason: str
    purpose: Purpose = Purpose.ALERT


@dataclass(frozen=True)
class Granted:
    """The answer to `mine` or `wait`: until when, and whether the climb waits for it."""

    person: str
    until: datetime
    holds: bool


@dataclass(frozen=True)
class Over:
    """The chase has ended."""

    how: Ended
    by: str | None


Effect = Tell | News | Ask | Withdraw | PassedOver | Granted | Over
