"""What a morning's prompt and page say of a student's faults: those that are open, and incidents of the last school
day.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial

from service.core.district import SEVERITIES, Severity, Side
from service.core.road import Stage, stand
from service.core.road.asking import Ask, ask, is_followed_up
from service.engine import road
from service.engine.desk import Moment
from service.languages import N_, dated
from service.store.tables import CheckRow, FaultRow

LAST_WEEK = timedelta(days=6)
"""Further back a weekday alone says too little."""


@dataclass(frozen=True)
class Spoken:
    """One fault as the morning speaks of it. `over`: it is over, and only followed up."""

    code: str
    side: Side | None
    severity: Severity
    reported: datetime
    stage: Stage
    promised: date | None
    ask: Ask
    over: bool

    @property
    def gravity(self) -> tuple[bool, int, float]:
        """By which one is chosen to be spoken of: what is open first, then the gravest, then the oldest."""
        return not self.over, SEVERITIES.index(self.severity), -self.reported.timestamp()


def of(m: Moment, row: FaultRow, check: CheckRow | None = None) -> Spoken | None:
    """What is said of a fault on the day of a check; None where there is nothing to say, or it was that very check
    that found it.
    """
    fault = road.load(row)
    now = stand(fault)
    incident = road.incident_of(m, row.code)
    if check is not None and fault.steps[0].check == check.id:
        return None
    if not now.is_open and not (incident and now.stage is not Stage.NO_FAULT and _was_last(m, row)):
        return None
    asked = ask(now, incident=incident)
    return Spoken(
        row.code, now.side, now.severity, now.reported, now.stage, now.promised, asked, not now.is_open
    )


def _was_last(m: Moment, row: FaultRow) -> bool:
    return is_followed_up(row.date, m.today(row.school), partial(road.is_school, m, row.school))


def since(m: Moment, school: str, at: datetime) -> str:
    """An instant as one speaks of it: "08:05", "Tuesday 08:05", "6 October"."""
    today, on = m.today(school), m.today_at(school, at)
    return dated(on, N_("d MMMM")) if today - on > LAST_WEEK else m.wall(school, at, today)
