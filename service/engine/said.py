"""What one person said about one student, and how it ends what was running about it."""

from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import Enum

from service.core.chains import Ended, Settled, Why
from service.core.checks import Statement
from service.core.district import Role
from service.core.reading import Outcome
from service.core.sounds import Order
from service.engine import chaser, results, slips
from service.engine.desk import Moment
from service.engine.loading import load
from service.engine.sound_orders import order_of
from service.store.tables import ChaseRow, CheckRow


class Need(Enum):
    """What came of an outcome beyond its being recorded."""

    NOTHING = "nothing"
    STILL_A_FAULT = "ask whether the fault is put right"
    SAID_WORKING = "said to be working, by somebody who is not with the child"
    ALARM = "emergency"


@dataclass(frozen=True)
class Said:
    """Who said something, in which received message, in answer to what; `proven`: it is certain that they did."""

    person: str
    inbox: str
    cause: tuple[str, ...] = ()
    proven: bool = True


@dataclass
class Decided:
    """What one outcome led to; `told` is the role of who is told of a fault at once."""

    check: CheckRow
    recorded: bool = True
    need: Need = Need.NOTHING
    fault_by: str | None = None
    try_until: datetime | None = None
    ask_at: datetime | None = None
    passed_on: bool = False
    told: Role | None = None
    chases: list[str] = field(default_factory=list)


def say(m: Moment, check: CheckRow, outcome: Outcome, said: Said) -> None:
    """Record the outcome as a statement about the check."""
    statement = Statement(
        m.now, said.person, outcome.result, outcome.faults, outcome.missed_sounds, outcome.reason
    )
    order: Order = ()
    if outcome.listened is not None:
        order = order_of(m, check.student, check.school, check.date)
        silences = max(order.count(None), outcome.listened.false)
        statement = replace(statement, listened=replace(outcome.listened, silences=silences))
    results.say(m, check, statement, said.inbox, said.cause, order)
    slips.tell(m, check)


def end_silence(m: Moment, check: CheckRow, how: Ended, said: Said) -> tuple[str, ...]:
    """End the silence about a check; says who had heard of it."""
    heard: list[str] = []
    for row in chaser.open_for(m, check.id, Why.SILENCE):
        chase = load(row)
        heard += [t.person for t in chase.told if t.posted and t.person != said.person]
        end(m, row, how, said)
    return tuple(dict.fromkeys(heard))


def end(m: Moment, row: ChaseRow, how: Ended, said: Said) -> None:
    """End a chase by what somebody said, so that an undo finds it again."""
    row.body = {**row.body, "ended_by": said.inbox}
    chaser.apply(m, row, Settled(how, said.person), said.cause, said.person)
