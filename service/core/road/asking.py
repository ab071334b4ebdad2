"""What the morning asks of a fault that is open, and of an incident of the school day before."""

from collections.abc import Callable
from datetime import date
from enum import StrEnum

from service.core.devices import FaultCode
from service.core.district import Severity
from service.core.road.dates import reminded_on
from service.core.road.stand import Stand
from service.core.road.values import Stage


class Ask(StrEnum):
    """What makes sense to ask."""

    WORKS = "does it work again"
    BACK = "is it back"
    LOANER = "check the loaner"
    SEEN = "check it on the child"
    CHILD = "how is the child"


AWAY = frozenset({Stage.HOME, Stage.CLINIC, Stage.REPAIR})
"""Stages in which the device is not at school, so that nothing can be asked of it but whether it is back."""


def ask(now: Stand, *, incident: bool = False) -> Ask:
    """What to ask of an open fault. After an incident the child comes first; while a loaner is worn it is the loaner
    that is checked; a device that is away can only be back; one that is said to work is seen on the child.
    """
    if incident:
        return Ask.CHILD
    if now.lent is not None:
        return Ask.LOANER
    if now.stage in AWAY:
        return Ask.BACK
    return Ask.SEEN if now.stage is Stage.SAID else Ask.WORKS


def is_incident(code: FaultCode) -> bool:
    """Whether a fault is one of the child and not of the device alone: what is never waited for, and emergencies."""
    return code.at_once or code.severity is Severity.EMERGENCY


def is_followed_up(happened: date, today: date, is_school: Callable[[date], bool]) -> bool:
    """Whether `today` is the first school day after an incident, on whose morning it is asked how the child is."""
    return reminded_on(happened, is_school) == today
