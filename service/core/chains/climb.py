"""How a turn comes to a contact: limits, who can be told, passing over, and nobody left."""

from collections.abc import Iterator
from datetime import datetime, timedelta

from service.core.chains.changing import replace
from service.core.chains.values import (
    Chase,
    Effect,
    PassedOver,
    Phase,
    Purpose,
    Scene,
    Tell,
    Told,
    Turn,
    Why,
)
from service.core.district import Limit, Severity

LATE = timedelta(seconds=60)
"""A step that is taken later than this after its instant is catching up after downtime (C13)."""

Step = tuple[Chase, tuple[Effect, ...]]


def limit_end(limit: Limit, due: datetime, scene: Scene) -> datetime | None:
    """When the time of a contact ends whose turn came at `due` (C2, C11); None: not by the clock."""
    if limit.span is not None:
        return due + limit.span
    if limit.bell is None:
        return None
    bell = scene.bells.get((limit.bell, limit.edge))
    if bell is None or bell < due + scene.settings.until_at_least:
        return due + limit.otherwise
    return bell


def accept_by(chase: Chase, scene: Scene) -> datetime | None:
    """Until when a channel must have accepted the message of the present step (C3)."""
    told = chase.current
    if told is None or told.posted is None or told.accepted is not None:
        return None
    window = scene.settings.accept_within
    ends = limit_end(chase.turns[chase.step].limit, told.due, scene)
    return told.posted + (min(window, (ends - told.due) / 2) if ends else window)


def next_turn(chase: Chase, due: datetime, now: datetime, scene: Scene) -> Step:
    """Pass the turn on to the next contact who can be told, the others passed over at no cost (C4)."""
    passed: list[Effect] = []
    for index in range(chase.step + 1, len(chase.turns)):
        turn = chase.turns[index]
        person, reason = _pick(turn, chase, now, scene)
        if person is not None:
            told, effects = _tell(replace(chase, step=index), turn, person, due, now, scene)
            return told, (*passed, *effects)
        passed.extend(PassedOver(name, index, reason, turn.purpose) for name in turn.people or (turn.label,))
    left, effects = nobody_left(replace(chase, step=len(chase.turns)), now, scene)
    return left, (*passed, *effects)


def nobody_left(chase: Chase, now: datetime, scene: Scene) -> Step:
    """C14: the coordinator hears it; the last contact reached is told again later, a few times."""
    more = chase.generation <= scene.settings.last_again_times
    chase = replace(
        chase,
        phase=Phase.NOBODY_LEFT,
        next_due=None,
        reminders_due=(),
        again_at=now + scene.settings.last_again if more else None,
    )
    tells = [Tell(c, len(chase.turns), Purpose.CHAIN_END, now, at_once=True) for c in chase.coordinators]
    involved = _with(chase.involved, *chase.coordinators)
    return replace(chase, involved=involved), tuple(tells)


def due_now(chase: Chase, scene: Scene) -> Iterator[tuple[datetime, str]]:
    """The instants of a climbing chase, unordered: a reminder, the next turn, the want of acceptance."""
    if chase.reminders_due:
        yield chase.reminders_due[0], "reminder"
    if chase.next_due is not None:
        yield chase.next_due, "turn"
    late = accept_by(chase, scene)
    if late is not None:
        yield late, "unaccepted"


def climb(chase: Chase, now: datetime, scene: Scene, *, rebase: bool = True) -> Step:
    """Take every step that has fallen due, in order of their instants. What was missed by long counts from
    now on (C13), unless `rebase` is off: after an undo things stand where they would be by now (C9).
    """
    effects: list[Effect] = []
    caught_up = False
    while chase.phase is Phase.CLIMBING:
        instant, what = min(due_now(chase, scene), default=(None, ""))
        if instant is None or instant > now:
            break
        caught_up = caught_up or (rebase and what == "turn" and now - instant > LATE)
        chase, more = _one_step(chase, what, instant, now, scene)
        effects.extend(more)
    if caught_up and chase.phase is Phase.CLIMBING:
        chase = _count_from(chase, now, scene)
    return chase, tuple(effects)


def turn_fell_due(chase: Chase, due: datetime, now: datetime, scene: Scene) -> Step:
    """Pass the turn on that fell due at `due`, with all that fell due since; where that was missed by long,
    limits run on from now (C13).
    """
    chase, effects = next_turn(chase, due, now, scene)
    chase, more = climb(chase, now, scene)
    if now - due > LATE and chase.phase is Phase.CLIMBING:
        chase = _count_from(chase, now, scene)
    return chase, (*effects, *more)


def _one_step(chase: Chase, what: str, instant: datetime, now: datetime, scene: Scene) -> Step:
    if what == "reminder":
        return _remind(chase, now, scene)
    if what == "unaccepted":
        told = chase.current
        passed = (PassedOver(told.person, told.step, "no_channel"),) if told else ()
        chase, effects = next_turn(chase, instant, now, scene)
        return chase, (*passed, *effects)
    return next_turn(chase, instant, now, scene)


def _remind(chase: Chase, now: datetime, scene: Scene) -> Step:
    told = chase.current
    pointless = chase.next_due is not None and chase.next_due <= now
    generation = chase.reminders - len(chase.reminders_due) + 1
    chase = replace(chase, reminders_due=chase.reminders_due[1:])
    if told is None or pointless:
        return chase, ()
    if scene.resting.get(told.person, now) > now:
        return chase, (PassedOver(told.person, told.step, "pointless", Purpose.REMINDER),)
    turn = chase.turns[chase.step]
    return chase, (
        Tell(told.person, chase.step, Purpose.REMINDER, now, channels=turn.channels, generation=generation),
    )


def _count_from(chase: Chase, now: datetime, scene: Scene) -> Chase:
    """Limits run on from now for the step last told."""
    turn = chase.turns[chase.step]
    return replace(chase, step_due=now, next_due=limit_end(turn.limit, now, scene), reminders_due=())


def _tell(chase: Chase, turn: Turn, person: str, due: datetime, now: datetime, scene: Scene) -> Step:
    ends = limit_end(turn.limit, due, scene)
    reminders: tuple[datetime, ...] = ()
    if chase.why is Why.SILENCE and turn.purpose is Purpose.PROMPT and ends is not None:
        part = (ends - due) / (chase.reminders + 1)
        reminders = tuple(due + part * k for k in range(1, chase.reminders + 1))
    chase = replace(
        chase,
        phase=Phase.CLIMBING,
        step_due=due,
        next_due=ends,
        reminders_due=reminders,
        told=(*chase.told, Told(person, chase.step, due)),
        involved=_with(chase.involved, person),
    )
    tell = Tell(
        person,
        chase.step,
        turn.purpose,
        due,
        at_once=is_pressing(chase),
        channels=turn.channels,
        late=now - due > LATE,
    )
    return chase, (tell,)


def is_pressing(chase: Chase) -> bool:
    """Whether alerts of this chase never wait for others (C5)."""
    return chase.severity in (Severity.URGENT, Severity.EMERGENCY)


def _pick(turn: Turn, chase: Chase, now: datetime, scene: Scene) -> tuple[str | None, str]:
    """The first person of a turn who can be told now, or None and the last reason."""
    reason = "no_channel"
    for person in turn.people:
        reason = _why_not(person, turn, chase, now, scene)
        if not reason:
            return person, ""
        deputies = _deputies(person, scene, {person}) if reason == "away" else ()
        deputy = next((d for d in deputies if not _why_not(d, turn, chase, now, scene)), None)
        if deputy is not None:
            return deputy, ""
    return None, reason


def _deputies(person: str, scene: Scene, seen: set[str]) -> Iterator[str]:
    """Who stands in for somebody away: their deputies in order, and for a deputy who is away too, that one's own."""
    standing = scene.people.get(person)
    for deputy in standing.deputies if standing else ():
        if deputy not in seen:
            seen.add(deputy)
            yield deputy
            yield from _deputies(deputy, scene, seen)


def _why_not(person: str, turn: Turn, chase: Chase, now: datetime, scene: Scene) -> str:
    standing = scene.people.get(person)
    if standing is None:
        return "away"
    if any(t.person == person for t in chase.told):
        return "already_told"
    if standing.reason is not None:
        return standing.reason
    within = standing.hours is None or any(a <= now < b for a, b in standing.hours)
    return "" if within or turn.any_hour else "off_hours"


def _with(people: tuple[str, ...], *more: str) -> tuple[str, ...]:
    return (*people, *(p for p in dict.fromkeys(more) if p not in people))


def next_contact(chase: Chase, now: datetime, scene: Scene) -> tuple[datetime, str] | None:
    """Who would be told next, and when, if nothing changes; None where nobody is left or nothing is due."""
    at = {
        Phase.CLIMBING: chase.next_due,
        Phase.IN_HAND: chase.in_hand.until if chase.in_hand else None,
        Phase.TRYING: chase.try_until,
        Phase.HOLDING: chase.resume_at,
    }.get(chase.phase)
    if at is None:
        return None
    for turn in chase.turns[chase.step + 1 :]:
        person, _ = _pick(turn, chase, max(at, now), scene)
        if person is not None:
            return at, person
    return None
