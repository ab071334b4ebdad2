"""The table of transitions and `step`, the one way a chase changes.

Rules for this file: everything that decides a transition is here or in `climb`; a handler takes (chase,
event, now, scene) and returns a new chase and effects; it knows no store and no clock. An event that has no
row for the present phase raises `OutOfPlace` and changes nothing.
"""

from collections.abc import Callable, Collection, Mapping
from datetime import datetime
from typing import Any

from service.core.chains import climb as _climb
from service.core.chains.alarm import (
    answered,
    confirmed,
    found,
    reported_again,
    sound_again,
    sound_alarm,
    wound_up,
)
from service.core.chains.changing import replace
from service.core.chains.climb import Step, _with, next_turn, turn_fell_due
from service.core.chains.ending import reopen, said_working, settled, taken_back
from service.core.chains.overnight import day_over, mine_overnight, resume, said_at_the_end, tell_last_again
from service.core.chains.promises import (
    let_go,
    let_go_overnight,
    mine,
    pass_on,
    promise_passed,
    released,
    wait,
)
from service.core.chains.values import (
    Accepted,
    Again,
    Answered,
    Away,
    Began,
    Cannot,
    Chase,
    Confirmed,
    DayOver,
    Event,
    Failed,
    Found,
    Mine,
    Moved,
    News,
    NotHelped,
    PassedOver,
    Phase,
    Posted,
    Released,
    SaidWorking,
    Scene,
    Settled,
    TakenBack,
    Time,
    Undone,
    Wait,
    Why,
    WoundUp,
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


def _take_steps(chase: Chase, _event: Event, now: datetime, scene: Scene) -> Step:
    return _climb.climb(chase, now, scene)


def _tried(chase: Chase, _event: Event, now: datetime, scene: Scene) -> Step:
    if chase.try_until is None or chase.try_until > now:
        return chase, ()
    began = replace(chase, began=chase.try_until)
    return turn_fell_due(began, chase.try_until, now, scene)


def _not_helped(chase: Chase, _event: Event, now: datetime, scene: Scene) -> Step:
    return next_turn(replace(chase, began=now), now, now, scene)


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


def _again(chase: Chase, event: Again, _now: datetime, _scene: Scene) -> Step:
    """A fault that joins: those who know hear what changed (C16), the climb goes on as it was."""
    news = tuple(
        News(t.person, "changed", soon=True) for t in chase.told if t.posted and t.person != event.person
    )
    return replace(chase, involved=_with(chase.involved, event.person)), news


def _broken_after_all(chase: Chase, event: Again, now: datetime, scene: Scene) -> Step:
    return next_turn(replace(chase, involved=_with(chase.involved, event.person)), now, now, scene)


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

_WHILE_OPEN: dict[type, Row] = {
    Posted: (_posted, ()),
    Accepted: (_accepted, ()),
    Failed: (_nothing, ()),
    Settled: (settled, (_O,)),
    TakenBack: (taken_back, (_O,)),
    Released: (_nothing, ()),
    Cannot: (_nothing, ()),
    Away: (_nothing, ()),
    SaidWorking: (said_working, (_S,)),
    Mine: (mine, (_I,)),
    Again: (_again, ()),
    DayOver: (day_over, (_O, _H)),
}
"""What may come to a chase of an ordinary cause in most of its phases."""

_IN_AN_EMERGENCY: dict[type, Row] = {
    Began: (sound_alarm, ()),
    Time: (sound_again, ()),
    Posted: (_posted, ()),
    Accepted: (_accepted, ()),
    Failed: (_nothing, ()),
    Answered: (answered, ()),
    Again: (reported_again, ()),
    Mine: (answered, ()),
    SaidWorking: (answered, ()),
    Found: (found, ()),
    Confirmed: (confirmed, (_O,)),
    WoundUp: (wound_up, (_O,)),
    Released: (_nothing, ()),
    Away: (_nothing, ()),
    DayOver: (_nothing, ()),
}
"""What may come to an emergency: nothing that settles, takes back or passes on is among it (C16)."""


def _rows(phase: Phase, own: Mapping[type, Row], but: Collection[type] = ()) -> dict[tuple[Phase, type], Row]:
    """The rows of a phase: its own, and of those of most phases all `but` some."""
    return {(phase, event): row for event, row in {**_WHILE_OPEN, **own}.items() if event not in but}


TABLE: Mapping[tuple[Phase, type], Row] = {
    **_rows(
        _T,
        {
            Time: (_tried, (_C, _N)),
            NotHelped: (_not_helped, (_C, _N)),
            DayOver: (day_over, (_H,)),
        },
        # Nobody has been told yet, and nobody has the turn.
        but=(Posted, Cannot),
    ),
    **_rows(
        _C,
        {
            Began: (_begin, (_C, _N)),
            Time: (_take_steps, (_C, _N)),
            Failed: (_failed, (_C, _N)),
            Wait: (wait, ()),
            Released: (released, (_C, _N)),
            Cannot: (pass_on, (_C, _N)),
            Away: (pass_on, (_C, _N)),
            Moved: (_moved, ()),
            DayOver: (day_over, (_O, _H, _C, _N)),
        },
    ),
    **_rows(
        _I,
        {
            Time: (promise_passed, (_C, _N)),
            Released: (released, (_C, _I, _N, _S, _T)),
            Cannot: (let_go, (_C, _N)),
            Away: (let_go, (_C, _N)),
            Moved: (_nothing, ()),
            Wait: (_nothing, ()),
        },
    ),
    **_rows(
        _S,
        {
            Again: (_broken_after_all, (_C, _N)),
            TakenBack: (taken_back, ()),
            DayOver: (said_at_the_end, (_O,)),
            Moved: (_nothing, ()),
            Wait: (_nothing, ()),
        },
    ),
    **_rows(_N, {Time: (tell_last_again, ()), Moved: (_nothing, ())}),
    **_rows(
        _H,
        {
            Time: (resume, (_C, _N)),
            DayOver: (_nothing, ()),
            Mine: (mine_overnight, ()),
            Released: (released, ()),
            Cannot: (let_go_overnight, ()),
        },
    ),
    **{(_A, event): row for event, row in _IN_AN_EMERGENCY.items()},
    (_O, Accepted): (_accepted, ()),
    (_O, Failed): (_nothing, ()),
    (_O, Undone): (reopen, (_T, _C, _I, _S, _H, _N)),
}
"""(phase, event) -> (handler, phases it may lead to; none: it stays). The guide draws its diagram from it.

It has a row for what can come to a chase in a phase, and for nothing else; what has none means nothing there.
"""
