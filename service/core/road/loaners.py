"""Loaners: what lies where, for whom, and why one may not be lent.

A hearing aid's gain and a processor's map are one child's; a device of another child is never lent, whatever is
missing (facts: "never move one pupil's device to another", common practice of the trade, no published rule behind
it).
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from enum import StrEnum

from service.core.devices import WORN, FaultCode
from service.core.district import Device, DeviceKind, Side


@dataclass(frozen=True)
class Loaner:
    """A device to lend. `set_for` is the student whose gain or map is in it (None: nobody's yet); `side` where it is
    made for one.
    """

    id: str
    school: str
    kind: DeviceKind
    what: str
    set_for: str | None = None
    side: Side | None = None


class Refusal(StrEnum):
    """Why a loaner may not go to a student."""

    ANOTHERS = "set for another student"
    NOT_SET = "not set for this student yet"
    OUT = "out with somebody else"
    OTHER_KIND = "another kind of device"
    OTHER_SIDE = "for the other side"


def refusal(
    loaner: Loaner, student: str, kinds: Collection[DeviceKind], side: Side | None, out: Mapping[str, str]
) -> Refusal | None:
    """Why a loaner may not go to a student in the place of a device of one of these `kinds` and this side, None
    where it may. `out` says which loaners are out and with whom. What harms comes first: another child's settings.
    """
    if loaner.set_for not in (None, student):
        return Refusal.ANOTHERS
    if loaner.kind in WORN and loaner.set_for is None:
        return Refusal.NOT_SET
    if out.get(loaner.id) not in (None, student):
        return Refusal.OUT
    if loaner.kind not in kinds:
        return Refusal.OTHER_KIND
    wrong = loaner.side is not None and side is not None and loaner.side is not side
    return Refusal.OTHER_SIDE if wrong else None


def kinds_of(code: FaultCode | None, devices: Collection[Device], side: Side | None) -> frozenset[DeviceKind]:
    """The kinds of a student's devices that a fault may be about: those that the code goes with, on its side."""
    suited = [d for d in devices if code is None or d.kind in code.devices]
    return frozenset(d.kind for d in suited if side is None or d.side in (None, side))
