"""What would happen, minute by minute, if nobody answered a round: the chase walked through with nobody there.

Nothing is sent and nothing is kept. Every message is taken to be accepted at once, so that what is seen is
the chain itself: who is told when, who is passed over and why, and how the day ends.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from service.core.chains import (
    Accepted,
    Chase,
    Effect,
    PassedOver,
    Posted,
    Purpose,
    Scene,
    Subject,
    Tell,
    Time,
    begin_silence,
    step,
    wake,
)
from service.core.district import District, Role
from service.core.routines import PlannedCheck, PlannedRound
from service.core.silence import silence_turns


class What(StrEnum):
    """What happens to a person at an instant."""

    ASKED = "asked"
    REMINDED = "reminded"
    TOLD = "told"
    TOLD_AGAIN = "told again"
    PASSED_OVER = "passed over"
    NOBODY_LEFT = "nobody left"
    SUMMARY = "summary"


MESSAGES = frozenset(What) - {What.PASSED_OVER}


@dataclass(frozen=True)
class Happening:
    """One thing that happens to one person. `numbers` are the students' in the round; `until` is when the
    next turn comes (None: not by the clock); `reason` says why somebody was passed over.
    """

    at: datetime
    what: What
    person: str
    role: str
    numbers: tuple[int, ...]
    until: datetime | None = None
    reason: str = ""


def unanswered(
    district: District, planned: PlannedRound, scene: Scene, settling_in: bool = False
) -> tuple[Happening, ...]:
    """What happens to a round that nobody answers, in order of time; the day's end last."""
    alone = [h for check in planned.checks for h in _walk(district, planned, check, scene, settling_in)]
    end = [
        Happening(scene.last, What.SUMMARY, person, role, tuple(c.number for c in planned.checks))
        for person, role in _summed_to(district, planned.school)
    ]
    return (*_together(alone), *(end if alone else ()))


def messages(instants: Iterable[datetime], gather: timedelta) -> int:
    """How many messages one person gets for things that come at these instants, gathered as rule C5 says."""
    count, last = 0, None
    for at in sorted(instants):
        if last is None or (at > last and at >= last + gather):
            count, last = count + 1, at
        elif at > last:
            count, last = count + 1, last + gather
    return count


def _walk(
    district: District, planned: PlannedRound, check: PlannedCheck, scene: Scene, settling_in: bool
) -> list[Happening]:
    student = district.students[check.student]
    chain = district.chain_for(student, student.school, "silence")
    if chain is None:
        return []
    second = check.second or planned.second
    coordinators = district.coordinators(planned.school)
    subject = Subject(
        f"ch-{check.id}", planned.school, planned.date, check.id, check.student, planned.id, coordinators
    )
    turns = silence_turns(district, chain, student, planned.checker, second, settling_in)
    chase, effects = begin_silence(subject, chain, turns, planned.due, planned.due, scene)
    seen = list(_seen(chase, effects, planned.due, check.number))
    now = planned.due
    while True:
        chase = _delivered(chase, effects, now, scene)
        due = wake(chase, scene)
        if due is None or due >= scene.last:
            return seen
        now = due
        chase, effects = step(chase, Time(), now, scene)
        seen.extend(_seen(chase, effects, now, check.number))


def _delivered(chase: Chase, effects: Sequence[Effect], now: datetime, scene: Scene) -> Chase:
    for person in [e.person for e in effects if isinstance(e, Tell)]:
        chase, _ = step(chase, Posted(person), now, scene)
        chase, _ = step(chase, Accepted(person), now, scene)
    return chase


def _seen(chase: Chase, effects: Sequence[Effect], now: datetime, number: int) -> Iterator[Happening]:
    for effect in effects:
        if isinstance(effect, PassedOver):
            role = _role(chase, effect.step)
            yield Happening(now, What.PASSED_OVER, effect.person, role, (number,), reason=effect.reason)
        elif isinstance(effect, Tell):
            until = chase.next_due if effect.step == chase.step else None
            role = _role(chase, effect.step)
            yield Happening(now, _what(effect), effect.person, role, (number,), until)


def _what(tell: Tell) -> What:
    match tell.purpose:
        case Purpose.PROMPT:
            return What.ASKED
        case Purpose.REMINDER:
            return What.REMINDED
        case Purpose.CHAIN_END:
            return What.NOBODY_LEFT
        case _:
            return What.TOLD if tell.generation == 1 else What.TOLD_AGAIN


def _role(chase: Chase, at: int) -> str:
    return chase.turns[at].label if at < len(chase.turns) else Role.COORDINATOR.value


def _together(alone: Iterable[Happening]) -> list[Happening]:
    """The students of a round that share a happening, in one."""
    numbers: dict[tuple[object, ...], list[int]] = {}
    first: dict[tuple[object, ...], Happening] = {}
    for h in alone:
        key = (h.at, h.what, h.person, h.role, h.until, h.reason)
        first.setdefault(key, h)
        numbers.setdefault(key, []).append(h.numbers[0])
    order = list(What)
    found = [
        Happening(h.at, h.what, h.person, h.role, tuple(sorted(numbers[key])), h.until, h.reason)
        for key, h in first.items()
    ]
    return sorted(found, key=lambda h: (h.at, h.what is not What.PASSED_OVER, order.index(h.what), h.numbers))


def _summed_to(district: District, school: str) -> list[tuple[str, str]]:
    """Coordinator and audiologist get one message at the day's end (C12), each person once."""
    roles = (Role.COORDINATOR, Role.AUDIOLOGIST)
    people = {p.id: r.value for r in reversed(roles) for p in district.holders(r, school)}
    return [(id, people[id]) for id in district.people if id in people]
