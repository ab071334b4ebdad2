"""What is true of each child on each day of the year, and what each adult does: decided by one seed, from names alone.

Nothing here depends on what the service does or on the order of asking, so a year can be lived through the engine, or
counted without it, and is the same year.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from random import Random
from typing import TypeVar

from service.demo.year import habits
from service.demo.year import troubles as planted
from service.demo.year.calendar import Calendar, calendar
from service.demo.year.places import SCHOOLS, Child, aide, children
from service.demo.year.troubles import Trouble

T = TypeVar("T")

SOUNDS = ("m", "oo", "ah", "ee", "sh", "s")
LOST = "s"
LEFT, RIGHT = "left", "right"
SIDES = (LEFT, RIGHT)


@dataclass(frozen=True)
class Truth:
    """How a child arrives: away, with a fault (`code`, `side`), or missing a sound on a side; else all is well."""

    away: bool = False
    code: str | None = None
    side: str = LEFT
    missed: str | None = None

    @property
    def is_well(self) -> bool:
        """Nothing to say but "ok"."""
        return not self.away and self.code is None and self.missed is None


@dataclass(frozen=True)
class Absence:
    """Staff who are away on a school day; `announced`: the coordinator knows in the morning."""

    person: str
    announced: bool


@dataclass
class Nature:
    """The year of a seed at some `schools`. `troubles` are what was planted; none makes a clean year."""

    seed: int
    autumn: int
    troubles: Sequence[Trouble] = planted.PLANTED
    schools: Sequence[str] = SCHOOLS
    _truths: dict[str, Mapping[date, Truth]] = field(default_factory=dict, repr=False)
    _away: dict[str, Mapping[date, bool]] = field(default_factory=dict, repr=False)

    @cached_property
    def year(self) -> Calendar:
        """Its dates."""
        return calendar(self.autumn)

    @cached_property
    def days(self) -> tuple[date, ...]:
        """Its school days, snow days left out."""
        return tuple(self.year.days())

    @cached_property
    def children(self) -> Mapping[str, Child]:
        """All children by id."""
        return {child.id: child for child in children(self.schools)}

    def dice(self, *name: object) -> Random:
        """The dice for what has this name."""
        return Random("/".join(map(str, (self.seed, *name))))  # noqa: S311 - a made-up year, no secret

    # Children.

    def truth(self, child: str, day: date) -> Truth:
        """How a child arrives on a school day."""
        if child not in self._truths:
            self._truths[child] = self._lived(self.children[child])
        return self._truths[child][day]

    def _lived(self, child: Child) -> dict[date, Truth]:
        chance = self.dice("child", child.id)
        left = 0
        found = {}
        for day in self.days:
            left = left - 1 if left else self._falls_ill(chance, habits.CHILD_AWAY, day)
            found[day] = Truth(away=True) if left else self._arrives(child, day, chance)
        return found

    def _falls_ill(self, chance: Random, rate: float, day: date) -> int:
        if chance.random() >= rate * habits.WINTER.get(day.month, 1.0):
            return 0
        return drawn(chance, habits.SPELLS)

    def _arrives(self, child: Child, day: date, chance: Random) -> Truth:
        at, side = chance.random(), chance.choice(SIDES)
        missed = chance.random()
        sound = chance.choice(SOUNDS)
        for code, rate in habits.FAULTS[child.kind].items():
            often = rate * habits.WEAR.get(code, {}).get(day.month, 1.0) * self._worse(child, code, day)
            if at < often:
                return Truth(code=code, side=side)
            at -= often
        if (lost := self._lost(child, day)) and missed < lost:
            return Truth(side=LEFT, missed=LOST)
        return Truth(side=side, missed=sound) if missed < habits.MISSED else Truth()

    def _worse(self, child: Child, code: str, day: date) -> float:
        """How many times as often a child's devices have a fault because of what was planted."""
        wrong = {planted.BAD_CELLS: ("BAT", child.shelf), planted.WEAK_CABLE: ("CABLE", child.cable)}
        return self._rate(day, *(t for t in self.troubles if wrong.get(t.what) == (code, t.subject)))

    def _lost(self, child: Child, day: date) -> float:
        held = [t for t in self.troubles if (t.what, t.subject) == (planted.SLIPS, child.id)]
        return sum(t.rate for t in held if t.holds(self.autumn, day))

    def _rate(self, day: date, *held: Trouble) -> float:
        return next((t.rate for t in held if t.holds(self.autumn, day)), 1.0)

    def mended(self, child: str, day: date) -> bool:
        """Whether a fault that was left standing has been mended by this morning."""
        return self.dice("mended", child, day).random() < habits.MENDED_OVER_NIGHT

    def sees(self, person: str, child: str, day: date) -> bool:
        """Whether somebody who looks at a child that day sees what is wrong."""
        careless = [t for t in self.troubles if (t.what, t.subject) == (planted.NOT_LOOKING, person)]
        rate = self._rate(day, *careless) if careless else habits.SEEN
        return self.dice("sees", person, child, day).random() < rate

    def fixes(self, person: str, child: str, day: date, code: str) -> bool:
        """Whether the first remedy helps."""
        return self.dice("fixes", person, child, day).random() < habits.FIXED.get(code, 0.0)

    def breaks(self, child: str, day: date) -> bool:
        """Whether a device that worked at the bell has a flat cell at the visit."""
        return self.dice("breaks", child, day).random() < habits.NEW_WITHIN_THE_HOUR

    # Adults.

    def answers(self, person: str, role: str, school: str, day: date) -> int | None:
        """After how many minutes somebody answers in this role; None: not at all."""
        if self._is_silent(person, role, school, day) or self.is_away(person, day):
            return None
        chance = self.dice("answers", person, role, school, day)
        return chance.choice(habits.MINUTES[role]) if chance.random() < habits.ANSWERS[role] else None

    def _is_silent(self, person: str, role: str, school: str, day: date) -> bool:
        gone = any(t.what == planted.AIDE_LEFT and person == aide(t.subject) and t.holds(self.autumn, day)
                   for t in self.troubles)  # fmt: skip
        never = any(t.what == planted.NEVER_ANSWERS and (t.subject, "second") == (school, role)
                    for t in self.troubles)  # fmt: skip
        return gone or never

    def is_away(self, person: str, day: date) -> bool:
        """Whether somebody is not at work."""
        return day in self._absences(person)

    def absences(self, day: date) -> tuple[Absence, ...]:
        """Who of the schools' staff is away on a day."""
        found = ((p, self._absences(p).get(day)) for p in self._staff)
        return tuple(Absence(person, announced) for person, announced in found if announced is not None)

    @cached_property
    def _staff(self) -> tuple[str, ...]:
        checkers = dict.fromkeys(c.checker for c in self.children.values())
        return (*checkers, *dict.fromkeys(c.visitor for c in self.children.values()))

    def _absences(self, person: str) -> Mapping[date, bool]:
        if person not in self._away:
            self._away[person] = self._away_of(person)
        return self._away[person]

    def _away_of(self, person: str) -> dict[date, bool]:
        if person not in self._staff:
            return {}
        chance = self.dice("adult", person)
        left, announced = 0, True
        found = {}
        for day in self.days:
            begins = not left
            left = left - 1 if left else self._falls_ill(chance, habits.ADULT_AWAY, day)
            if left and begins:
                announced = chance.random() < habits.ANNOUNCED
            if left:
                found[day] = announced
        return found


def drawn(chance: Random, weights: Mapping[T, float]) -> T:
    """One of several things, each as often as its weight says."""
    return chance.choices(list(weights), list(weights.values()))[0]
