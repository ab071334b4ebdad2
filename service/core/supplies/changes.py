"""What the record says was put into devices: folded from what was said about checks."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from service.core.checks import Statement
from service.core.district import Side
from service.core.reading import Result
from service.core.supplies.told import Cell, told


@dataclass(frozen=True)
class Said:
    """A statement about a check, on which date by the school's clock, in which words (empty: pressed, forgotten, or
    said of several at once).
    """

    check: str
    student: str
    on: date
    statement: Statement
    words: str = ""


@dataclass(frozen=True)
class Put:
    """A piece put in: into whose device on which side (None: the only one, or nobody said), and what became of the one
    before.
    """

    student: str
    side: Side | None
    at: datetime
    on: date
    before: Cell


def put_in(said: Iterable[Said], code: str) -> tuple[Put, ...]:
    """The pieces that were put in because of a fault `code`, in order of time.

    Said to be put right, each side named is one piece, else each side reported. Reported and then working on the same
    day is put right too, by whoever was told; on another day it may have been put right at home, from other spares.
    """
    checks: defaultdict[str, list[Said]] = defaultdict(list)
    for one in said:
        checks[one.check].append(one)
    found = (put for held in checks.values() for put in _of_check(held, code))
    return tuple(sorted(found, key=lambda put: put.at))


def _of_check(held: Sequence[Said], code: str) -> Iterator[Put]:
    reported: dict[Side | None, Said] = {}
    for one in held:
        statement = one.statement
        sides = [fault.side for fault in statement.faults if fault.code == code]
        if statement.result is Result.FAULT:
            reported |= {side: one for side in sides if side not in reported}
        elif statement.result in (Result.FIXED, Result.WORKING):
            if statement.result is Result.WORKING or not statement.faults:
                sides = [side for side, before in reported.items() if before.on == one.on]
            for side in sides:
                yield _put(one, side, reported.get(side) or reported.get(None))
            reported.clear()


def _put(one: Said, side: Side | None, report: Said | None) -> Put:
    before = told(report.words if report else None, one.words)
    return Put(one.student, side, one.statement.at, one.on, before)
