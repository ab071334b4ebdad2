"""The day around a chase, worked out from configuration and notices as the core wants it."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Protocol

from service.core.chains import Scene, Standing
from service.core.days import NoSchool, SchoolDay, instant
from service.core.district import District, Person, School
from service.core.notices import Notice, away_on
from service.core.zones import zone

LOOK_AHEAD = 120
"""How many days are searched for the next school day; beyond that nothing is planned to go on."""


class Outlook(Protocol):
    """What a scene is worked out from: a `Moment` of the engine, or a plan without a database."""

    @property
    def district(self) -> District:
        """The configuration."""

    @property
    def notices(self) -> Sequence[Notice]:
        """The notices known."""

    def school(self, id: str) -> School:
        """The school with this id."""

    def day(self, school: str, on: date) -> SchoolDay | NoSchool:
        """The school's day with the notices known."""


class Standings(Mapping[str, Standing]):
    """How each person can be reached on a day, worked out when asked for."""

    def __init__(self, moment: Outlook, school: str, on: date, gone: frozenset[str]) -> None:
        self._moment, self._school, self._on, self._gone = moment, school, on, gone
        self._known: dict[str, Standing] = {}

    def __getitem__(self, person: str) -> Standing:
        if person not in self._known:
            self._known[person] = self._work_out(self._moment.district.people[person])
        return self._known[person]

    def __iter__(self) -> Iterator[str]:
        return iter(self._moment.district.people)

    def __len__(self) -> int:
        return len(self._moment.district.people)

    def __contains__(self, person: object) -> bool:
        return person in self._moment.district.people

    def _work_out(self, person: Person) -> Standing:
        absent = away_on(person.id, self._on, self._moment.notices, self._moment.district, self._school)
        left = person.left_on is not None and person.left_on <= self._on
        if absent or left:
            return Standing("away", deputies=self._deputies(person))
        if not self._reachable(person):
            return Standing("no_channel")
        return Standing(hours=self._hours(person))

    def _reachable(self, person: Person) -> bool:
        if person.outside and person.consent is None:
            return False
        return any(f"gone/{person.id}/{way.channel}" not in self._gone for way in person.channels)

    def _deputies(self, person: Person) -> tuple[str, ...]:
        standing = (d for d in person.deputies if d.span is None or d.span.holds(self._on))
        return tuple(d.person for d in standing if d.person != person.id)

    def _hours(self, person: Person) -> tuple[tuple[datetime, datetime], ...] | None:
        if person.hours is None:
            return None
        where = zone(self._moment.school(self._school).zone)
        spans = []
        for ahead in range(-1, 5):
            day = self._on + timedelta(days=ahead)
            held = person.hours.days.get(day.isoweekday())
            if held:
                spans.append((instant(day, held[0], where), instant(day, held[1], where)))
        return tuple(spans)


def scene_of(
    moment: Outlook, school: str, on: date, gone: frozenset[str], resting: Mapping[str, datetime]
) -> Scene:
    """The scene of a school on a date. Without school that day it is an empty day that ends at once."""
    day = moment.day(school, on)
    midnight = instant(on, datetime.min.time(), zone(moment.school(school).zone))
    bells: dict[tuple[str, str], datetime] = {}
    if isinstance(day, SchoolDay):
        for bell in day.bells:
            bells[bell.name, "start"] = bell.start
            if bell.end is not None:
                bells[bell.name, "end"] = bell.end
    return Scene(
        first=day.first if isinstance(day, SchoolDay) else midnight,
        last=day.last if isinstance(day, SchoolDay) else midnight,
        next_first=next_first(moment, school, on),
        bells=bells,
        people=Standings(moment, school, on, gone),
        settings=moment.district.settings,
        resting=resting,
    )


def next_first(moment: Outlook, school: str, on: date) -> datetime | None:
    """The first bell of the next school day after `on`."""
    for ahead in range(1, LOOK_AHEAD):
        day = moment.day(school, on + timedelta(days=ahead))
        if isinstance(day, SchoolDay):
            return day.first
    return None
