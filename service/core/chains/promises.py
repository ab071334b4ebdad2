"""Who takes a chase in hand, asks for time, or cannot (C6, C18)."""

from datetime import datetime, timedelta

from service.core.chains.changing import replace
from service.core.chains.climb import Step, _with, climb, limit_end, next_turn, turn_fell_due
from service.core.chains.values import (
    Ask,
    Away,
    Cannot,
    Chase,
    Effect,
    Event,
    Granted,
    InHand,
    Mine,
    News,
    PassedOver,
    Phase,
    Released,
    Scene,
    Wait,
    Withdraw,
)


def promise_passed(chase: Chase, _event: Event, now: datetime, scene: Scene) -> Step:
    """C6: the promise was not kept: they are asked, and the next step is told, at once."""
    held = chase.in_hand
    if held is None or held.until > now:
        return chase, ()
    return after_promise(chase, held, held.until, now, scene)


def after_promise(chase: Chase, held: InHand, due: datetime, now: datetime, scene: Scene) -> Step:
    """Ask whoever had it in hand, and pass the turn on as of `due`."""
    chase, effects = turn_fell_due(replace(chase, in_hand=None), due, now, scene)
    asks: tuple[Effect, ...] = (Ask(held.person, "promise"),) if held.asks else ()
    return chase, (*asks, *effects)


def mine(chase: Chase, event: Mine, now: datetime, scene: Scene) -> Step:
    """C6 and C18: hold the climb until the promised time, once and once more; another's "mine" takes over."""
    asked = timedelta(minutes=event.minutes) if event.minutes is not None else timedelta(minutes=30)
    until = now + min(asked, chase.mine_at_most)
    if not chase.carries_on:
        until = min(until, max(now, scene.last))
    said = chase.promises.get(event.person, 0) + 1
    holds = said <= 2
    before = chase.in_hand
    if before is not None and not holds and chase.phase is Phase.IN_HAND:
        return chase, (Granted(event.person, before.until, holds=False),)
    effects: list[Effect] = [Granted(event.person, until, holds)]
    if before is not None and before.person != event.person:
        effects.append(News(before.person, "taken over", soon=True))
    chase = replace(
        chase,
        promises={**chase.promises, event.person: said},
        involved=_with(chase.involved, event.person),
        in_hand=InHand(event.person, until, holds, was=_was(chase)),
    )
    if holds:
        chase = replace(chase, phase=Phase.IN_HAND, next_due=None, reminders_due=(), again_at=None)
    return chase, tuple(effects)


def _was(chase: Chase) -> Phase:
    """The phase to which a chase would go back without the promises given in it."""
    if chase.phase is Phase.IN_HAND and chase.in_hand is not None:
        return chase.in_hand.was
    return chase.phase


def released(chase: Chase, event: Released, now: datetime, scene: Scene) -> Step:
    """C9: a promise or a wish for time is taken back; the chase is where it would be by now, nobody told twice. Whose
    promise it had taken over hears so; theirs is not put in place anew.
    """
    held, said = chase.in_hand, chase.promises.get(event.person, 0)
    if not said:
        return chase, ()
    own = held is not None and held.person == event.person
    chase = replace(
        chase,
        promises={p: n for p, n in {**chase.promises, event.person: said - 1}.items() if n},
        in_hand=None if own else held,
    )
    others = [p for p in chase.promises if p != event.person] if own else []
    news = tuple(News(p, "taken back", soon=True) for p in others)
    if own and held is not None and chase.phase is Phase.IN_HAND:
        chase = _back_to(chase, held.was, now, scene)
    if chase.phase is not Phase.CLIMBING or not 0 <= chase.step < len(chase.turns):
        return chase, news
    due = chase.step_due or now
    chase = replace(chase, next_due=limit_end(chase.turns[chase.step].limit, due, scene))
    chase, effects = climb(chase, now, scene, rebase=False)
    return chase, (*news, *effects)


def _back_to(chase: Chase, phase: Phase, now: datetime, scene: Scene) -> Chase:
    again = phase is Phase.NOBODY_LEFT and chase.generation <= scene.settings.last_again_times
    return replace(chase, phase=phase, again_at=now + scene.settings.last_again if again else None)


def wait(chase: Chase, event: Wait, now: datetime, scene: Scene) -> Step:
    """The person whose turn it is gets as long again as their limit, once, and not past the last bell."""
    told = chase.current
    if told is None or told.person != event.person or chase.promises.get(event.person, 0) >= 1:
        return chase, (Granted(event.person, chase.next_due or scene.last, holds=False),)
    ends = chase.next_due or now
    most = (ends - told.due) if chase.next_due else timedelta(minutes=10)
    asked = timedelta(minutes=event.minutes) if event.minutes is not None else timedelta(minutes=5)
    until = max(ends, min(now + min(asked, most), scene.last))
    chase = replace(
        chase,
        promises={**chase.promises, event.person: 1},
        next_due=until,
        reminders=chase.reminders + 1 if event.asks else chase.reminders,
        reminders_due=(_halfway(now, until),) if event.asks else (),
    )
    return chase, (Granted(event.person, until, holds=True),)


def _halfway(now: datetime, until: datetime) -> datetime:
    """A full minute, as it is told, where one lies between."""
    half = now + (until - now) / 2
    full = half.replace(second=0, microsecond=0)
    return full if full > now else half


def pass_on(chase: Chase, event: Cannot | Away, now: datetime, scene: Scene) -> Step:
    """Whose turn it is cannot take it: the turn passes on at once (C10)."""
    told = chase.current
    if told is None or told.person != event.person:
        return chase, ()
    reason = "away" if isinstance(event, Away) else "cannot"
    chase, effects = next_turn(chase, now, now, scene)
    return chase, (Withdraw(event.person, reason), PassedOver(event.person, told.step, reason), *effects)


def let_go(chase: Chase, event: Cannot | Away, now: datetime, scene: Scene) -> Step:
    """Who had it in hand cannot keep the promise: the climb goes on at once."""
    if chase.in_hand is None or chase.in_hand.person != event.person:
        return chase, ()
    return next_turn(replace(chase, in_hand=None), now, now, scene)


def let_go_overnight(chase: Chase, event: Cannot, _now: datetime, _scene: Scene) -> Step:
    """The same after school: nobody is told before the morning, when the climb goes on."""
    if chase.in_hand is None or chase.in_hand.person != event.person:
        return chase, ()
    return replace(chase, in_hand=None), ()
