"""From what adults say of a whole check, and the audiologist of a child, to what can be watched.

"Working" is said against the child's usual answers, so it says that every sound usually heard was heard. A fault that
is only about sounds says which were missed; any other fault says nothing about hearing.
"""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date

from service.core.devices import WORN
from service.core.district import Device, Side, Stated
from service.core.listening.answers import Level, Listening, Response
from service.core.listening.usual import Ear, Usual
from service.core.reading import Fault, HeardOn, Listened, Result


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
    """How one check of a child stands: its result, faults, the sounds named as missed, and what was said of the
    sounds side by side (None: nothing but that). `alone`: the sounds were to be said to each side alone, and not
    only as worn.
    """

    day: date
    result: Result | None
    faults: tuple[Fault, ...] = ()
    missed: tuple[str, ...] = ()
    listened: Listened | None = None
    alone: bool = True


def listenings(
    checks: Iterable[Checked], devices: Collection[Device], sounds: Collection[str], level: Level = Level.DETECT
) -> Iterator[Listening]:
    """What checks, in order of time, say of hearing on each side; many say nothing.

    A fault that is not about sounds says nothing, and neither do the checks after it until one finds the device
    working or puts it right. "Fixed" itself says nothing: nobody says that the sounds were said again. A sound that was
    heard counts as far as the child was asked (`level`).
    """
    sides = sides_of(devices)
    broken = False
    for check in checks:
        if check.result in (Result.WORKING, Result.FIXED):
            broken = False
        broken = broken or any(fault.code != "SOUND" for fault in check.faults if check.result is Result.FAULT)
        if not broken:
            yield from (_heard(check, heard, sounds, level) for heard in _told(check, sides))


def _told(check: Checked, sides: Collection[Side | None]) -> Iterable[HeardOn]:
    """What a check says of each way of listening: "working" of every one, missed sounds of those they were said of."""
    said = {side: replace(one, side=side) for side, one in _by_side(check, sides)}
    if check.result is Result.WORKING:
        spoken = sides if check.alone else (None,)
        return [replace(said.get(side) or said.get(None) or HeardOn(), side=side) for side in spoken]
    if check.result is not Result.FAULT or not check.missed:
        return ()
    named = {fault.side for fault in check.faults if fault.side in sides} or {None}
    return [said.get(side) or HeardOn(side, check.missed) for side in sides if side in named or side in said]


def _by_side(check: Checked, sides: Collection[Side | None]) -> Iterator[tuple[Side | None, HeardOn]]:
    for one in check.listened.sides if check.listened else ():
        yield one.side if one.side in sides else None, one


def _heard(check: Checked, heard: HeardOn, sounds: Collection[str], level: Level) -> Listening:
    best = Response.IDENTIFIED if level is Level.IDENTIFY else Response.DETECTED
    answers = dict.fromkeys(sounds, best)
    answers |= {sound: Response.DETECTED for sound in heard.noticed if sound in answers}
    answers |= {sound: Response.MISSED for sound in heard.missed if sound in answers}
    said = check.listened or Listened()
    silences = max(said.silences or 0, said.false)
    return Listening(check.day, heard.side, answers, silences, said.false, told=bool(said.sides or check.missed))
