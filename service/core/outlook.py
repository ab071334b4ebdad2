"""A whole planned day of a district without a database: what a coordinator reads before trusting the service."""

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from service.core.chains import Scene
from service.core.days import NoSchool, SchoolDay, school_day
from service.core.district import District, School
from service.core.notices import Notice
from service.core.routines import PlannedRound, Unplanned, rounds, unplanned
from service.core.silence import is_settling_in
from service.core.unanswered import MESSAGES, Happening, What, messages, unanswered

MOST_MESSAGES = 6
"""More messages than this to one person in a day are too many to be read; our own judgement, no source."""


@dataclass(frozen=True)
class RoundOutlook:
    """One round, and what happens if nobody answers it."""

    round: PlannedRound
    happenings: tuple[Happening, ...]


@dataclass(frozen=True)
class SchoolOutlook:
    """One school's day; without school it has neither rounds nor anything left out."""

    school: School
    day: SchoolDay | NoSchool
    rounds: tuple[RoundOutlook, ...] = ()
    left_out: tuple[Unplanned, ...] = ()
    settling_in: bool = False


@dataclass(frozen=True)
class Load:
    """Messages to one person: when everybody answers at once, and when nobody answers anything."""

    person: str
    ordinary: int
    bad: int


class Plan:
    """A district and its notices as scenes are made from them."""

    def __init__(self, district: District, notices: Sequence[Notice] = ()) -> None:
        self.district = district
        self.notices = notices
        self._days: dict[tuple[str, date], SchoolDay | NoSchool] = {}

    def school(self, id: str) -> School:
        """The school with this id."""
        return self.district.schools[id]

    def day(self, school: str, on: date) -> SchoolDay | NoSchool:
        """The school's day."""
        key = (school, on)
        if key not in self._days:
            self._days[key] = school_day(self.school(school), on, self.notices)
        return self._days[key]


def outlook(
    plan: Plan, on: date, scene_of: Callable[[str, date], Scene], only: str | None = None
) -> tuple[SchoolOutlook, ...]:
    """The day of every school, or of one."""
    return tuple(
        _of_school(plan, school, on, scene_of)
        for school in plan.district.schools.values()
        if only in (None, school.id)
    )


def _of_school(
    plan: Plan, school: School, on: date, scene_of: Callable[[str, date], Scene]
) -> SchoolOutlook:
    day = plan.day(school.id, on)
    if isinstance(day, NoSchool):
        return SchoolOutlook(school, day)
    district, notices = plan.district, plan.notices
    new = is_settling_in(school, on, district.settings.settle_in_days, notices)
    scene = scene_of(school.id, on)
    planned = rounds(district, day, notices)
    walked = tuple(RoundOutlook(r, unanswered(district, r, scene, new)) for r in planned)
    left = unplanned(district, day, notices)
    return SchoolOutlook(school, day, walked, left, new)


def loads(district: District, schools: Sequence[SchoolOutlook]) -> tuple[Load, ...]:
    """Messages per person over the day, most first. Answers to what somebody wrote are not counted."""
    ordinary: defaultdict[str, list[datetime]] = defaultdict(list)
    bad: defaultdict[str, list[datetime]] = defaultdict(list)
    for each in (r for school in schools for r in school.rounds):
        for h in each.happenings:
            if h.what in MESSAGES:
                bad[h.person].append(h.at)
            if h.what is What.ASKED:
                ordinary[h.person].append(h.at)
    window = district.settings.gather
    found = [Load(p, messages(ordinary[p], window), messages(bad[p], window)) for p in bad]
    return tuple(sorted(found, key=lambda load: (-load.bad, -load.ordinary, load.person)))
