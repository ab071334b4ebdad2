"""One pass over everything that is due, in the order of a morning: words, day ends, chases, prompts, trays.

`run_due(now)` is all the scheduler, the simulation and the rehearsal ever call. It runs until nothing more is
due at this instant, since one consequence may make another due at once.
"""

from datetime import datetime, timedelta

from service.engine import chaser, gathering, hearing, held_alarms, missed, prompter, summaries
from service.engine.desk import Desk, Moment
from service.engine.held import cautions, held
from service.store import chases, inbox, marks, outbox, rounds, tray

AT_MOST = 50
"""Passes at one instant; more would mean that something makes itself due for ever."""


def run_due(desk: Desk, now: datetime) -> int:
    """Do all that is due at `now`; says how many things were done. Messages are claimed and sent apart.

    While the service is held nothing is due but a word to who reports an emergency, which counts as nothing.
    """
    with desk.glance() as m:
        is_held = held(m.tx) is not None
    if is_held:
        held_alarms.answer(desk, now)
        return 0
    done = 0
    for _ in range(AT_MOST):
        step = _pass(desk, now)
        done += step
        if not step:
            break
    return done


def _pass(desk: Desk, now: datetime) -> int:
    heard = hearing.read_all(desk, now)
    ended = summaries.end_days(desk, now)
    stepped = chaser.step_due(desk, now)
    asked = prompter.ask_due(desk, now)
    told = gathering.empty_due(desk, now)
    return heard + asked + stepped + ended + told


def next_due(desk: Desk) -> datetime | None:
    """The next instant at which something falls due of its own; sending included."""
    with desk.glance() as m:
        return next_in(m)


def next_in(m: Moment) -> datetime | None:
    """The same, within a glance that looks at more than this."""
    state = held(m.tx)
    if state is not None:
        only = cautions(state)
        return outbox.next_at(m.tx, only) if only else None
    silence = m.desk.silence_held_until
    instants = [
        rounds.next_due(m.tx),
        chases.next_wake(m.tx, without_silence=silence is not None),
        tray.next_release(m.tx),
        outbox.next_at(m.tx),
        marks.next_due(m.tx, "day/"),
        missed.next_due(m),
        silence,
    ]
    return min((at for at in instants if at is not None), default=None)


def has_unread(m: Moment) -> bool:
    """Whether a message waits to be read by the next pass."""
    return held(m.tx) is None and inbox.has_unread(m.tx)


def hold_silence(desk: Desk, now: datetime, grace: timedelta) -> None:
    """C20: after a restart no silence step is taken until senders have had time to send again."""
    desk.silence_held_until = now + grace


def release_silence(desk: Desk, now: datetime) -> None:
    """The grace is over."""
    if desk.silence_held_until is not None and desk.silence_held_until <= now:
        desk.silence_held_until = None
