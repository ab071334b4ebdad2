"""The table of transitions and `step`, the one way a chase changes.

Rules for this file: everything that decides a transition is here or in `climb`; a handler takes (chase,
event, now, scene) and returns a new chase and effects; it knows no store and no clock. An event that has no
row for the present phase raises `OutOfPlace` and changes nothing.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from service.core.chains import climb as _climb
from service.core.chains.climb import Step, _with, next_turn
from service.core.chains.values import (
    Accepted,
    Again,
    Answered,
    Ask,
    Away,
    Began,
    Cannot,
    Chase,
    Confirmed,
    DayOver,
    Effect,
    End,
    Ended,
    Event,
    Failed,
    Found,
    Granted,
    InHand,
    Mine,
    Moved,
    News,
    NotHelped,
    Over,
    PassedOver,
    Pending,
    Phase,
    Posted,
    Purpose,
    SaidWorking,
    Scene,
    Settled,
    TakenBack,
    Tell,
    Time,
    Told,
    Undone,
    Wait,
    Why,
    Withdraw,
)


class OutOfPlace(Exception):
    """The event means nothing to a chase in this phase; the chase is unchanged."""


def step(chase: Chase, event: Event, now: datetime, scene: Scene) -> Step:
    """Apply one event. Raises `OutOfPlace` where the table has no row for it."""
    row = TABLE.get((chase.phase, type(event)))
    if row is None:
        raise OutOfPlace(f"{type(event).__name__} while {chase.phase.value}")
    return row[0](chase, event, now, scene)


def wake(chase: Chase, scene: Scene) -> datetime | None:
    """The next instant at which `Time` has something to do; None when only an event can change the chase."""
    match chase.phase:
        case Phase.TRYING:
            return chase.try_until
        case Phase.CLIMBING:
            return min((at for at, _ in _climb.due_now(chase, scene)), default=None)
        case Phase.IN_HAND:
            return chase.in_hand.until if chase.in_hand else None
        case Phase.HOLDING:
            return chase.resume_at
        case Phase.ALARM | Phase.NOBODY_LEFT:
            return chase.again_at
        case _:
            return None


def _begin(chase: Chase, _event: Event, now: datetime, scene: Scene) -> Step:
    return next_turn(chase, chase.began, now, scene)


def _sound_alarm(chase: Chase, _event: Event, now: datetime, scene: Scene) -> Step:
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


def _sound_again(chase: Chase, _event: Event, now: datetime, scene: Scene) -> Step:
    again = chase.again_at
    if again is None or again > now:
        return chase, ()
    generation = chase.generation + 1
    every = scene.settings.emergency_again
    late = now - again > _climb.LATE
    chase = replace(chase, generation=generation, again_at=(now if late else again) + every)
    people = [t.person for t in chase.told if t.person not in chase.answered]
    return chase, tuple(Tell(p, 0, Purpose.ALERT, again, at_once=True, generation=generation) for p in people)


def _take_steps(chase: Chase, _event: Event, now: datetime, scene: Scene) -> Step:
    return _climb.climb(chase, now, scene)


def _tried(chase: Chase, _event: Event, now: datetime, scene: Scene) -> Step:
    if chase.try_until is None or chase.try_until > now:
        return chase, ()
    began = replace(chase, began=chase.try_until)
    return next_turn(began, chase.try_until, now, scene)


def _not_helped(chase: Chase, _event: Event, now: datetime, scene: Scene) -> Step:
    return next_turn(replace(chase, began=now), now, now, scene)


def _promise_passed(chase: Chase, _event: Event, now: datetime, scene: Scene) -> Step:
    held = chase.in_hand
    if held is None or held.until > now:
        return chase, ()
    chase, effects = next_turn(replace(chase, in_hand=None, phase=Phase.CLIMBING), held.until, now, scene)
    asks: tuple[Effect, ...] = (Ask(held.person, "promise"),) if held.asks else ()
    return chase, (*asks, *effects)


def _tell_last_again(chase: Chase, _event: Event, now: datetime, scene: Scene) -> Step:
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


def _resume(chase: Chase, _event: Event, now: datetime, scene: Scene) -> Step:
    """C12: go on from the same step, with what was left of its limit."""
    if chase.resume_at is None or chase.resume_at > now:
        return chase, ()
    left = chase.remaining
    chase = replace(chase, phase=Phase.CLIMBING, resume_at=None, remaining=None)
    if chase.step < 0:
        return next_turn(chase, now, now, scene)
    return replace(chase, step_due=now, next_due=None if left is None else now + left), ()


def _posted(chase: Chase, event: Posted, now: datetime, _scene: Scene) -> Step:
    return _mark(chase, event.person, posted=now), ()


def _accepted(chase: Chase, event: Accepted, now: datetime, _scene: Scene) -> Step:
    return _mark(chase, event.person, accepted=now), ()


def _mark(
    chase: Chase, person: str, *, posted: datetime | None = None, accepted: datetime | None = None
) -> Chase:
    """Mark the last telling of a person, keeping the first instant of each kind."""
    told = list(chase.told)
    for i in reversed(range(len(told))):
        if told[i].person == person:
            was = told[i]
            told[i] = replace(was, posted=was.posted or posted or accepted, accepted=was.accepted or accepted)
            break
    return replace(chase, told=tuple(told))


def _failed(chase: Chase, event: Failed, now: datetime, scene: Scene) -> Step:
    """C3: refused for good on every channel, or bounced, while this step is still the last."""
    told = chase.current
    if told is None or told.person != event.person:
        return chase, ()
    passed = PassedOver(event.person, chase.step, "no_channel")
    chase = replace(chase, told=tuple(replace(t, accepted=None) if t is told else t for t in chase.told))
    chase, effects = next_turn(chase, now, now, scene)
    return chase, (passed, *effects)


def _mine(chase: Chase, event: Mine, now: datetime, scene: Scene) -> Step:
    """C6 and C18: hold the climb until the promised time, once and once more; another's "mine" takes over."""
    asked = timedelta(minutes=event.minutes) if event.minutes is not None else timedelta(minutes=30)
    until = now + min(asked, chase.mine_at_most)
    if not chase.carries_on:
        until = min(until, max(now, scene.last))
    said = chase.promises.get(event.person, 0) + 1
    holds = said <= 2
    effects: list[Effect] = [Granted(event.person, until, holds)]
    before = chase.in_hand
    if before is not None and before.person != event.person:
        effects.append(News(before.person, "taken over", soon=True))
    chase = replace(
        chase,
        promises={**chase.promises, event.person: said},
        involved=_with(chase.involved, event.person),
        in_hand=InHand(event.person, until, holds),
    )
    if holds:
        chase = replace(chase, phase=Phase.IN_HAND, next_due=None, reminders_due=(), again_at=None)
    return chase, tuple(effects)


def _wait(chase: Chase, event: Wait, now: datetime, scene: Scene) -> Step:
    """The person whose turn it is gets as long again as their limit, once, and not past the last bell."""
    told = chase.current
    if told is None or told.person != event.person or chase.promises.get(event.person, 0) >= 1:
        return chase, (Granted(event.person, chase.next_due or scene.last, holds=False),)
    ends = chase.next_due or now
    most = (ends - told.due) if chase.next_due else timedelta(minutes=10)
    asked = timedelta(minutes=event.minutes) if event.minutes is not None else timedelta(minutes=5)
    until = min(max(ends, now + min(asked, most)), scene.last)
    chase = replace(
        chase,
        promises={**chase.promises, event.person: 1},
        next_due=until,
        reminders_due=(),
        involved=_with(chase.involved, event.person),
    )
    return chase, (Granted(event.person, until, holds=True),)


def _pass_on(chase: Chase, event: Cannot | Away, now: datetime, scene: Scene) -> Step:
    told = chase.current
    if told is None or told.person != event.person:
        return chase, ()
    reason = "away" if isinstance(event, Away) else "cannot"
    chase, effects = next_turn(chase, now, now, scene)
    return chase, (Withdraw(event.person, reason), PassedOver(event.person, told.step, reason), *effects)


def _let_go(chase: Chase, event: Cannot | Away, now: datetime, scene: Scene) -> Step:
    """Who had it in hand cannot keep the promise: the climb goes on at once."""
    if chase.in_hand is None or chase.in_hand.person != event.person:
        return chase, ()
    return next_turn(replace(chase, in_hand=None, phase=Phase.CLIMBING), now, now, scene)


def _said_working(chase: Chase, event: SaidWorking, _now: datetime, _scene: Scene) -> Step:
    """C7: from somebody who is not with the child it stops the climb, and the fault stays open."""
    return replace(
        chase,
        phase=Phase.SAID,
        next_due=None,
        reminders_due=(),
        again_at=None,
        in_hand=None,
        try_until=None,
        involved=_with(chase.involved, event.person),
    ), ()


def _again(chase: Chase, event: Again, _now: datetime, _scene: Scene) -> Step:
    """A fault that joins: those who know hear what changed (C16), the climb goes on as it was."""
    news = tuple(
        News(t.person, "changed", soon=True) for t in chase.told if t.posted and t.person != event.person
    )
    return replace(chase, involved=_with(chase.involved, event.person)), news


def _broken_after_all(chase: Chase, event: Again, now: datetime, scene: Scene) -> Step:
    chase = replace(chase, phase=Phase.CLIMBING, involved=_with(chase.involved, event.person))
    return next_turn(chase, now, now, scene)


def _settled(chase: Chase, event: Settled, now: datetime, _scene: Scene) -> Step:
    """C7 and C5: everyone told hears it once, but for who settled it; what was never sent is not sent."""
    chase = replace(chase, phase=Phase.OVER, end=End(event.how, now, event.person, chase.phase))
    quiet = event.how in (Ended.OUTWEIGHED, Ended.ASK_LATER)
    effects: list[Effect] = [Over(event.how, event.person)]
    for person in chase.involved:
        effects.append(Withdraw(person, "settled"))
        if person != event.person and not quiet and _knows(chase, person):
            effects.append(_news(chase, person, event.how))
    return chase, tuple(effects)


def _knows(chase: Chase, person: str) -> bool:
    """Whether a message about this chase left for the person, or they spoke of it."""
    told = [t for t in chase.told if t.person == person]
    return any(t.posted for t in told) or not told


def _news(chase: Chase, person: str, how: Ended) -> News:
    alarm = chase.severity in ("urgent", "emergency")
    return News(
        person, how.value, soon=alarm or person in chase.promises, at_once=chase.severity == "emergency"
    )


def _reopen(chase: Chase, _event: Undone, now: datetime, scene: Scene) -> Step:
    """C9: as if it had not been said; a silence chase is where it would be by now, nobody told twice."""
    end = chase.end
    if end is None:
        return chase, ()
    heard = [
        p for p in chase.involved if p != end.by and _knows(chase, p) and end.how is not Ended.OUTWEIGHED
    ]
    chase = replace(chase, phase=end.was, end=None, reminders_due=_still_to_come(chase, now))
    effects: list[Effect] = [News(p, "taken back", soon=True) for p in heard]
    chase, more = _climb.climb(chase, now, scene, rebase=False)
    return chase, (*effects, *more)


def _still_to_come(chase: Chase, now: datetime) -> tuple[datetime, ...]:
    return tuple(at for at in chase.reminders_due if at > now)


def _taken_back(chase: Chase, event: TakenBack, now: datetime, scene: Scene) -> Step:
    """C9: once a contact has taken it up, an undo is a message to that contact."""
    takers = [
        p for p in (*chase.promises, *((chase.in_hand.person,) if chase.in_hand else ())) if p != event.person
    ]
    if takers or chase.phase is Phase.SAID:
        people = dict.fromkeys(takers or [p for p in chase.involved if p != event.person])
        return chase, tuple(News(p, "said to be a mistake", soon=True) for p in people)
    return _settled(chase, Settled(Ended.TAKEN_BACK, event.person), now, scene)


def _moved(chase: Chase, event: Moved, _now: datetime, _scene: Scene) -> Step:
    """C10: limits counted from the new due time; only while the checker's own time runs."""
    if chase.why is not Why.SILENCE or chase.step != 0 or chase.step_due is None:
        return chase, ()
    return replace(
        chase,
        step_due=chase.step_due + event.by,
        next_due=chase.next_due + event.by if chase.next_due else None,
        reminders_due=tuple(at + event.by for at in chase.reminders_due),
    ), ()


def _day_over(chase: Chase, _event: DayOver, now: datetime, scene: Scene) -> Step:
    """C12: ends silence; an open fault holds until before the next school day, or carries on."""
    if chase.why is Why.SILENCE:
        asked = any(t.accepted for t in chase.told)
        how = Ended.UNANSWERED if asked else Ended.NOT_ASKED
        chase = replace(chase, phase=Phase.OVER, end=End(how, now, None, chase.phase))
        return chase, (*(Withdraw(p, "day_over") for p in chase.involved), Over(how, None))
    if chase.carries_on or scene.next_first is None:
        return chase, ()
    remaining = chase.next_due - now if chase.next_due and chase.next_due > now else None
    return replace(
        chase,
        phase=Phase.HOLDING,
        resume_at=scene.next_first - scene.settings.overnight_lead,
        remaining=remaining if chase.next_due else chase.remaining,
        next_due=None,
        in_hand=None,
        again_at=None,
        try_until=None,
    ), ()


def _answered(chase: Chase, event: Answered | Mine, _now: datetime, _scene: Scene) -> Step:
    return replace(
        chase,
        answered=_with(chase.answered, event.person),
        involved=_with(chase.involved, event.person),
    ), ()


def _found(chase: Chase, event: Found, now: datetime, _scene: Scene) -> Step:
    """C16: from the reporter, nurse or guardian, and only once they confirm."""
    chase, _ = _answered(chase, Answered(event.person), now, _scene)
    if event.person != chase.reporter and event.person not in chase.closers:
        return chase, ()
    return replace(chase, pending=Pending(event.person, event.how, now)), (
        Ask(event.person, event.how.value),
    )


def _confirmed(chase: Chase, event: Confirmed, now: datetime, scene: Scene) -> Step:
    pending = chase.pending
    if pending is None or pending.person != event.person:
        return chase, ()
    if not event.yes:
        return replace(chase, pending=None), ()
    chase, effects = _settled(chase, Settled(pending.how, event.person), now, scene)
    return replace(chase, pending=pending), effects


def _nothing(chase: Chase, _event: Event, _now: datetime, _scene: Scene) -> Step:
    return chase, ()


Handler = Callable[[Chase, Any, datetime, Scene], Step]
Row = tuple[Handler, tuple[Phase, ...]]

_C, _H, _I, _S, _N, _O, _T, _A = (
    Phase.CLIMBING,
    Phase.HOLDING,
    Phase.IN_HAND,
    Phase.SAID,
    Phase.NOBODY_LEFT,
    Phase.OVER,
    Phase.TRYING,
    Phase.ALARM,
)

_EVERYWHERE: dict[type, Row] = {
    Posted: (_posted, ()),
    Accepted: (_accepted, ()),
    Settled: (_settled, (_O,)),
    TakenBack: (_taken_back, (_O,)),
    Answered: (_nothing, ()),
    Found: (_nothing, ()),
    Confirmed: (_nothing, ()),
    Moved: (_nothing, ()),
    Wait: (_nothing, ()),
    Cannot: (_nothing, ()),
    Away: (_nothing, ()),
    NotHelped: (_nothing, ()),
    Failed: (_nothing, ()),
    Undone: (_nothing, ()),
    SaidWorking: (_said_working, (_S,)),
    Mine: (_mine, (_I,)),
    Again: (_again, ()),
    DayOver: (_day_over, (_O, _H)),
}


def _rows(phase: Phase, own: Mapping[type, Row]) -> dict[tuple[Phase, type], Row]:
    return {(phase, event): row for event, row in {**_EVERYWHERE, **own}.items()}


TABLE: Mapping[tuple[Phase, type], Row] = {
    **_rows(_T, {Time: (_tried, (_C, _N)), NotHelped: (_not_helped, (_C, _N))}),
    **_rows(
        _C,
        {
            Began: (_begin, (_C, _N)),
            Time: (_take_steps, (_C, _N)),
            Failed: (_failed, (_C, _N)),
            Wait: (_wait, ()),
            Cannot: (_pass_on, (_C, _N)),
            Away: (_pass_on, (_C, _N)),
            Moved: (_moved, ()),
        },
    ),
    **_rows(
        _I,
        {
            Time: (_promise_passed, (_C, _N)),
            Cannot: (_let_go, (_C, _N)),
            Away: (_let_go, (_C, _N)),
        },
    ),
    **_rows(_S, {Time: (_nothing, ()), Again: (_broken_after_all, (_C, _N))}),
    **_rows(_N, {Time: (_tell_last_again, ())}),
    **_rows(_H, {Time: (_resume, (_C, _N)), DayOver: (_nothing, ())}),
    **_rows(
        _A,
        {
            Began: (_sound_alarm, ()),
            Time: (_sound_again, ()),
            Answered: (_answered, ()),
            Mine: (_answered, ()),
            SaidWorking: (_answered, ()),
            Found: (_found, ()),
            Confirmed: (_confirmed, (_O,)),
            Settled: (_nothing, ()),
            TakenBack: (_nothing, ()),
            DayOver: (_nothing, ()),
        },
    ),
    **{(_O, event): (_nothing, ()) for event in (Time, DayOver, Moved, Failed, Answered)},
    (_O, Posted): (_posted, ()),
    (_O, Accepted): (_accepted, ()),
    (_O, Undone): (_reopen, (_T, _C, _I, _S, _H, _N)),
}
"""(phase, event) -> (handler, phases it may lead to; none: it stays). The guide draws its diagram from it."""
