"""From what adults say of a whole check, and the audiologist of a child, to what can be watched.

"Working" is said against the child's usual answers, so it says that every sound usually heard was heard. A fault that
is only about sounds says which were missed; any other fault says nothing about hearing.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from service.core.devices import WORN
from service.core.district import Device, Side, Stated
from service.core.listening.answers import Listening, Response
from service.core.listening.usual import Ear, Usual
from service.core.reading import Fault, Result


def sides_of(devices: Collection[Device]) -> tuple[Side | None, ...]:
    """The ways in which a child listens: with everything as worn, and each side alone where there are two."""
    sides = {device.side for device in devices if device.kind in WORN and device.side is not None}
    return (None, Side.LEFT, Side.RIGHT) if len(sides) == 2 else (None,)


def usual_of(stated: Collection[Stated], devices: Collection[Device], sounds: Collection[str]) -> dict[Ear, Usual]:
    """What is usual of each sound and side. What is said of no side holds for all, of no sound for every one; what
    is said later goes before.
    """
    found: dict[Ear, Usual] = {}
    sides = sides_of(devices)
    for line in stated:
        for side in sides if line.side is None else {line.side} & set(sides):
            for sound in sounds if line.sound is None else {line.sound} & set(sounds):
                found[Ear.of(side, sound)] = Usual(line.missed, line.checks)
    return found


@dataclass(frozen=True)
class Checked:
    """How one check of a child stands: its result, faults, and the sounds that were named as missed. `alone`: the
    sounds were to be said to each side alone, and not only as worn.
    """

    day: date
    result: Result | None
    faults: tuple[Fault, ...] = ()
    missed: tuple[str, ...] = ()
    alone: bool = True


def listenings(
    checks: Iterable[Checked], devices: Collection[Device], usual: Mapping[Ear, Usual]
) -> Iterator[Listening]:
    """What checks, in order of time, say of hearing on each side; many say nothing.

    A fault that is not about sounds says nothing, and neither do the checks after it until one finds the device
    working or puts it right. "Fixed" itself says nothing: nobody says that the sounds were said again.
    """
    sides = sides_of(devices)
    broken = False
    for check in checks:
        if check.result in (Result.WORKING, Result.FIXED):
            broken = False
        broken = broken or any(fault.code != "SOUND" for fault in check.faults if check.result is Result.FAULT)
        if check.result is Result.WORKING:
            yield from (_heard(check.day, side, usual, ()) for side in (sides if check.alone else (None,)))
        elif check.result is Result.FAULT and check.missed and not broken:
            named = {fault.side for fault in check.faults if fault.side in sides} or {None}
            yield from (_heard(check.day, side, usual, check.missed) for side in sides if side in named)


def _heard(on: date, side: Side | None, usual: Mapping[Ear, Usual], missed: Collection[str]) -> Listening:
    sounds = [ear.sound for ear in usual if ear.side == Ear.of(side, "").side]
    answers = {s: Response.MISSED if s in missed else Response.DETECTED for s in sounds}
    return Listening(on, side, answers)
