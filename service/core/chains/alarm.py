"""Emergencies: everyone at once, again until they answer, over once confirmed (C16)."""

from datetime import datetime

from service.core.chains import climb as _climb
from service.core.chains.changing import replace
from service.core.chains.climb import Step, _with
from service.core.chains.ending import over
from service.core.chains.values import (
    Again,
    Answered,
    Ask,
    Chase,
    Confirmed,
    Ended,
    Event,
    Found,
    Mine,
    Pending,
    Purpose,
    Scene,
    Tell,
    Told,
    WoundUp,
)


def sound_alarm(chase: Chase, _event: Event, now: datetime, scene: Scene) -> Step:
    """C16: everyone at once; a reporter who stands in the chain has the caution and is not told again."""
    people = [p for t in chase.turns for p in t.people if p in scene.people]
    told = tuple(dict.fromkeys(p for p in people if p != chase.reporter))
    chase = replace(
        chase,
        told=tuple(Told(p, 0, now) for p in told),
        step=0,
        step_due=now,
        involved=_with(chase.involved, *told),
        again_at=now + scene.settings.emergency_again,
    )
    return chase, tuple(Tell(p, 0, Purpose.ALERT, now, at_once=True) for p in told)


def sound_again(chase: Chase, _event: Event, now: datetime, scene: Scene) -> Step:
    """Again to everybody who has not answered, and each time anew."""
    again = chase.again_at
    if again is None or again > now:
        return chase, ()
    generation = chase.generation + 1
    every = scene.settings.emergency_again
    late = now - again > _climb.LATE
    chase = replace(chase, generation=generation, again_at=(now if late else again) + every)
    people = [t.person for t in chase.told if t.person not in chase.answered]
    return chase, tuple(Tell(p, 0, Purpose.ALERT, again, at_once=True, generation=generation) for p in people)


def answered(chase: Chase, event: Answered | Mine, _now: datetime, _scene: Scene) -> Step:
    """Whoever answers anything is not told again; nothing they say here ends it."""
    return _heard_from(chase, event.person), ()


def _heard_from(chase: Chase, person: str) -> Chase:
    return replace(chase, answered=_with(chase.answered, person), involved=_with(chase.involved, person))


def reported_again(chase: Chase, event: Again, _now: datetime, _scene: Scene) -> Step:
    """Somebody else reports it too: they hear the end, everybody else has been told already."""
    return replace(chase, involved=_with(chase.involved, event.person)), ()


def found(chase: Chase, event: Found, now: datetime, _scene: Scene) -> Step:
    """C16: from the reporter, nurse or guardian, and only once they confirm."""
    chase = _heard_from(chase, event.person)
    if event.person != chase.reporter and event.person not in chase.closers:
        return chase, ()
    return replace(chase, pending=Pending(event.person, event.how, now)), (
        Ask(event.person, event.how.value),
    )


def confirmed(chase: Chase, event: Confirmed, now: datetime, _scene: Scene) -> Step:
    """The same person says that it is so."""
    pending = chase.pending
    if pending is None or pending.person != event.person:
        return chase, ()
    if not event.yes:
        return replace(chase, pending=None), ()
    return over(chase, pending.how, event.person, now)


def wound_up(chase: Chase, event: WoundUp, now: datetime, _scene: Scene) -> Step:
    """Nothing is known of the school any more, so that nobody could be told: there is nothing left to sound."""
    return over(chase, Ended.NO_CHECK, event.person, now)
