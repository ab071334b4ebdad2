"""A chase whose clock stood still: the service was away, and what fell due meanwhile is not to be made up for."""

from dataclasses import replace
from datetime import timedelta

from service.core.chains.values import Chase, Told


def stood_still(chase: Chase, by: timedelta) -> Chase:
    """The chase with all that was still to come `by` later, as if no time had passed."""
    held = chase.in_hand
    return replace(
        chase,
        step_due=chase.step_due + by if chase.step_due else None,
        next_due=chase.next_due + by if chase.next_due else None,
        reminders_due=tuple(at + by for at in chase.reminders_due),
        try_until=chase.try_until + by if chase.try_until else None,
        again_at=chase.again_at + by if chase.again_at else None,
        in_hand=replace(held, until=held.until + by) if held else None,
        told=tuple(_later(chase, told, by) for told in chase.told),
    )


def _later(chase: Chase, told: Told, by: timedelta) -> Told:
    """Who is being told at this moment has the whole time for it again (C3)."""
    if told is not chase.current or told.accepted is not None:
        return told
    return replace(told, due=told.due + by, posted=told.posted + by if told.posted else None)
