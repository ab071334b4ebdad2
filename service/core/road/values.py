"""A fault on its road, as frozen values. Instants are aware UTC."""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from service.core.district import Severity, Side


class Stage(StrEnum):
    """Where a fault stands; the words of board and record."""

    REPORTED = "reported"
    TRIED = "tried in class"
    IN_HAND = "in hand"
    HOME = "at home"
    CLINIC = "with clinic"
    REPAIR = "at repair"
    SAID = "said to be working"
    WORKING = "working"
    OVER = "over"
    NO_FAULT = "taken back"
    LEFT = "left"


CLOSED = frozenset({Stage.WORKING, Stage.OVER, Stage.NO_FAULT, Stage.LEFT})
"""Where a road ends: works again, an emergency over, was no fault, the student left."""


class What(StrEnum):
    """What can happen to a fault."""

    REPORTED = "reported"
    TRIED = "tried in class"
    MINE = "in hand"
    HOME = "at home"
    CLINIC = "with clinic"
    REPAIR = "at repair"
    PROMISED = "promised"
    REMINDED = "reminded"
    LENT = "loaner out"
    RETURNED = "loaner back"
    ACCESS = "access"
    SAID = "said to be working"
    WORKING = "working"
    OVER = "over"
    LEFT = "left"
    NOTE = "note"


class Access(StrEnum):
    """What a child had in the place of a device for the rest of a school day."""

    SEAT = "sat in front"
    NOTES = "notes given"
    OTHER = "another way"


@dataclass(frozen=True)
class Step:
    """Something that happened. `said_in` is the message or press that brought it, by which it is taken back; `until`
    the next promised date that goes with it; `detail` the loaner lent (empty: nobody said which), the kind of
    access, or how an emergency ended. Of a report there are `check`, `side` and `severity`.
    """

    at: datetime
    what: What
    by: str | None = None
    said_in: str | None = None
    until: date | None = None
    detail: str = ""
    check: str | None = None
    side: Side | None = None
    severity: Severity | None = None
    taken_back: datetime | None = None


@dataclass(frozen=True)
class Fault:
    """One code on one device of one student. `opened` is the school's date of the first report; `after` the earlier
    fault of the same kind that it comes so soon after.
    """

    id: str
    student: str
    school: str
    code: str
    opened: date
    steps: tuple[Step, ...] = ()
    after: str | None = None
