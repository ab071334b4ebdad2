"""How a chase meets the end of the day and the next school morning (C12)."""

from datetime import datetime

from service.core.chains.changing import replace
from service.core.chains.climb import Step, _with, next_turn
from service.core.chains.promises import after_promise
from service.core.chains.values import (
    Chase,
    DayOver,
    End,
    Ended,
    Event,
    Granted,
    InHand,
    Mine,
    Over,
    PassedOver,
    Phase,
    Purpose,
    Scene,
    Tell,
    Why,
    Withdraw,
)


def resume(chase: Chase, _event: Event, now: datetime, scene: Scene) -> Step:
    """C12: go on from the same step, with what was left of its limit; a limit or a promise that ended with
    the day is over.
    """
    if chase.resume_at is None or chase.resume_at > now:
        return chase, ()
    left, held, told = chase.remaining, chase.in_hand, chase.current
    chase = replace(chase, phase=Phase.CLIMBING, resume_at=None, remaining=None)
    if held is not None and held.holds:
        return after_promise(chase, held, now, now, scene)
    if chase.step >= len(chase.turns):
        more = chase.generation <= scene.settings.last_again_times
        left_alone = replace(chase, phase=Phase.NOBODY_LEFT, again_at=now if more else None)
        return _tell_last(left_alone, now, scene)
    if told is not None and told.accepted is None:
        chase, effects = next_turn(chase, now, now, scene)
        return chase, (PassedOver(told.person, told.step, "no_channel"), *effects)
    if told is None or (left is None and chase.step + 1 < len(chase.turns)):
        return next_turn(chase, now, now, scene)
    return replace(chase, step_due=now, next_due=None if left is None else now + left), ()


def tell_last_again(chase: Chase, _event: Event, now: datetime, scene: Scene) -> Step:
    """C14: the last contact reached is told again, a few times."""
    return _tell_last(chase, now, scene)


def _tell_last(chase: Chase, now: datetime, scene: Scene) -> Step:
    again = chase.again_at
    if again is None or again > now:
        return chase, ()
    generation = chase.generation + 1
    reached = next((t for t in reversed(chase.told) if t.accepted is not None), None)
    more = generation <= scene.settings.last_again_times
    chase = replace(chase, generation=generation, again_at=now + scene.settings.last_again if more else None)
    if reached is None:
        return chase, ()
    return chase, (
        Tell(reached.person, reached.step, Purpose.ALERT, again, at_once=True, generation=generation),
    )


def mine_overnight(chase: Chase, event: Mine, _now: datetime, scene: Scene) -> Step:
    """Taken in hand after school: the chase sleeps on, and whoever took it is asked when it wakes."""
    until = chase.resume_at or scene.last
    chase = replace(
        chase,
        promises={**chase.promises, event.person: chase.promises.get(event.person, 0) + 1},
        involved=_with(chase.involved, event.person),
        in_hand=InHand(event.person, until),
    )
    return chase, (Granted(event.person, until, holds=True),)


def day_over(chase: Chase, _event: DayOver, now: datetime, scene: Scene) -> Step:
    """C12: ends silence; an open fault holds until before the next school day, or carries on."""
    if chase.why is Why.SILENCE:
        return _silence_over(chase, now)
    if chase.carries_on or scene.next_first is None:
        return _limit_of_the_day_over(chase, now, scene)
    remaining = chase.next_due - now if chase.next_due and chase.next_due > now else None
    return replace(
        chase,
        phase=Phase.HOLDING,
        resume_at=scene.next_first - scene.settings.overnight_lead,
        remaining=remaining,
        next_due=None,
        in_hand=chase.in_hand if chase.phase is Phase.IN_HAND else None,
        again_at=None,
        try_until=None,
    ), ()


def _silence_over(chase: Chase, now: datetime) -> Step:
    asked = any(t.accepted for t in chase.told)
    how = Ended.UNANSWERED if asked else Ended.NOT_ASKED
    chase = replace(chase, phase=Phase.OVER, end=End(how, now, None, chase.phase))
    return chase, (*(Withdraw(p, "day_over") for p in chase.involved), Over(how, None))


def _limit_of_the_day_over(chase: Chase, now: datetime, scene: Scene) -> Step:
    """A chain that carries on: whoever had until the end of the day has had it."""
    had_the_day = chase.phase is Phase.CLIMBING and chase.next_due is None
    if not had_the_day or chase.step + 1 >= len(chase.turns):
        return chase, ()
    return next_turn(chase, now, now, scene)


def said_at_the_end(chase: Chase, _event: DayOver, now: datetime, _scene: Scene) -> Step:
    """A fault said to be working waits for the next check on the child, not for a morning hour (C7)."""
    return _silence_over(chase, now) if chase.why is Why.SILENCE else (chase, ())
