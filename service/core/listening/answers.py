"""What one listening check said: an answer for each sound, what came in the silences, and what may be counted.

A sound counts as missed only after it was said twice; whoever records an answer has done so.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from service.core.devices import WORN
from service.core.district import Device, Side


class Response(StrEnum):
    """How a child answered a sound: said or pointed to it rightly, noticed it only, or not at all (said twice).

    The first two steps of Erber's ladder (1982: detection, discrimination, identification, comprehension) that a
    check at school can tell apart.
    """

    IDENTIFIED = "identified"
    DETECTED = "detected"
    MISSED = "missed"


class Level(StrEnum):
    """What a child is asked for: to notice a sound, or to say which it was."""

    DETECT = "detect"
    IDENTIFY = "identify"


@dataclass(frozen=True)
class Listening:
    """One listening check of one child. `side`: the side that listened alone, None with everything as worn.

    `answers` holds the sounds that were said; `silences` how many lines were silent and `false` how many of these
    were answered. `faulty`: something else was wrong with the device and had not been put right. `told`: somebody
    spoke of the sounds themselves, and not only of whether all works.
    Raises ValueError where more silences were answered than there were.
    """

    day: date
    side: Side | None
    answers: Mapping[str, Response]
    silences: int = 0
    false: int = 0
    faulty: bool = False
    told: bool = False

    def __post_init__(self) -> None:
        if not 0 <= self.false <= self.silences:
            raise ValueError(
                f"{self.false} of {self.silences} silences were answered; say 0 to {self.silences}"
            )


def missed(check: Listening, sound: str, level: Level) -> bool | None:
    """Whether the check counts as a miss of `sound`, as heard, or (None) says nothing about hearing.

    Nothing is counted while a device is at fault. A child who answers silences has not shown by mere noticing
    that it heard anything that day; a sound that it named rightly it has heard.
    """
    response = check.answers.get(sound)
    if response is None or check.faulty:
        return None
    if response is Response.MISSED:
        return True
    if response is Response.IDENTIFIED:
        return False
    if level is Level.IDENTIFY:
        return True
    return None if check.false else False


def side_alone(side: Side | None, devices: tuple[Device, ...]) -> Side | None:
    """The side that a check speaks of: a child with a device on one side only is checked on that side."""
    sides = {device.side for device in devices if device.kind in WORN and device.side is not None}
    return next(iter(sides)) if side is None and len(sides) == 1 else side
