"""How a chase ends, and how an end or a beginning is taken back (C7, C9)."""

from datetime import datetime

from service.core.chains import climb as _climb
from service.core.chains.changing import replace
from service.core.chains.climb import Step, _with
from service.core.chains.values import (
    Chase,
    Effect,
    End,
    Ended,
    News,
    Over,
    Phase,
    SaidWorking,
    Scene,
    Settled,
    TakenBack,
    Undone,
    Withdraw,
)


def settled(chase: Chase, event: Settled, now: datetime, _scene: Scene) -> Step:
    """C7 and C5: everyone told hears it once, but for who settled it; what was never sent is not sent."""
    return over(chase, event.how, event.person, now)


def over(chase: Chase, how: Ended, by: str | None, now: datetime) -> Step:
    """The chase ended in this way."""
    chase = replace(chase, phase=Phase.OVER, end=End(how, now, by, chase.phase))
    quiet = how in (Ended.OUTWEIGHED, Ended.ASK_LATER, Ended.NOT_ASKED)
    effects: list[Effect] = [Over(how, by)]
    for person in chase.involved:
        effects.append(Withdraw(person, "settled"))
        if person != by and not quiet and _knows(chase, person):
            effects.append(_news(chase, person, how))
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


def reopen(chase: Chase, _event: Undone, now: datetime, scene: Scene) -> Step:
    """C9: as if it had not been said; a silence chase is where it would be by now, nobody told twice. The end of an
    emergency was confirmed, and stays (C16).
    """
    end = chase.end
    if end is None or end.was is Phase.ALARM:
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


def taken_back(chase: Chase, event: TakenBack, now: datetime, _scene: Scene) -> Step:
    """C9: once a contact has taken it up, an undo is a message to that contact."""
    takers = [p for p in chase.promises if p != event.person]
    if takers or chase.phase is Phase.SAID:
        people = dict.fromkeys(takers or [p for p in chase.involved if p != event.person])
        return chase, tuple(News(p, "said to be a mistake", soon=True) for p in people)
    return over(chase, Ended.TAKEN_BACK, event.person, now)


def said_working(chase: Chase, event: SaidWorking, _now: datetime, _scene: Scene) -> Step:
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
