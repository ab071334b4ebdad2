"""A child's checks watched against what is usual for it: sound by sound, side by side, each spoken of once."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from service.core.listening.answers import Level, Listening, missed
from service.core.listening.design import BUDGET, Rule, rule_for, wished_run_length
from service.core.listening.usual import Ear, Usual


class Why(StrEnum):
    """Which rule spoke."""

    RUNNING = "missed on so many checks running"
    POINTS = "missed more often than usual"


@dataclass(frozen=True)
class Watched:
    """How a sound on a side stands: `spoke` is the day on which a rule spoke and `why`; it then stays until the
    audiologist has looked. `missed` of `checks` since points were last at none are what it rests on.
    """

    rule: Rule
    points: int = 0
    running: int = 0
    missed: int = 0
    checks: int = 0
    spoke: date | None = None
    why: Why | None = None

    @property
    def is_halfway(self) -> bool:
        """Whether the points have come at least half of the way to the limit, or beyond."""
        return self.spoke is not None or 2 * self.points >= self.rule.limit

    def after(self, day: date, is_missed: bool) -> "Watched":
        """How it stands after one more check; unchanged once a rule has spoken."""
        if self.spoke is not None:
            return self
        points, running = self.rule.after((self.points, self.running), is_missed)
        if not points:
            return Watched(self.rule)
        speaks = self.rule.speaks((points, running))
        why = Why.RUNNING if running >= self.rule.running else Why.POINTS
        return Watched(
            self.rule,
            points,
            running,
            self.missed + is_missed,
            self.checks + 1,
            day if speaks else None,
            why if speaks else None,
        )


@dataclass(frozen=True)
class Plan:
    """What is watched of a child: what is usual of each sound and side, how often each side is checked a year
    ("" is everything as worn), what the child is asked for, and the false alarms accepted a year.

    `looked`: from which day on a sound and side counts, after the audiologist has looked at it.
    """

    usual: Mapping[Ear, Usual]
    checks_a_year: Mapping[str, int]
    level: Level = Level.DETECT
    budget: float = BUDGET
    looked: Mapping[Ear, date] = field(default_factory=dict)


def watch(plan: Plan, checks: Iterable[Listening]) -> dict[Ear, Watched]:
    """How each sound and side that can be watched stands after these checks, in order of time.

    A day on which a sound was not checked, or nothing could be told of it, neither adds nor takes away. Raises
    KeyError for a side whose checks a year the plan does not say.
    """
    held = list(checks)
    rules = rules_of(plan)
    standing = {ear: Watched(rule) for ear, rule in rules.items()}
    for check in held:
        for sound in check.answers:
            ear = Ear.of(check.side, sound)
            is_missed = missed(check, sound, plan.level)
            if ear in standing and is_missed is not None and check.day >= plan.looked.get(ear, check.day):
                standing[ear] = standing[ear].after(check.day, is_missed)
    return standing


def rules_of(plan: Plan) -> dict[Ear, Rule]:
    """The rule of each sound and side that can be watched; they share the child's budget by how often they are
    checked.
    """
    watched = {ear: rate for ear, usual in plan.usual.items() if (rate := usual.watched_at) is not None}
    if not watched:
        return {}
    every = wished_run_length(sum(plan.checks_a_year[ear.side] for ear in watched), plan.budget)
    return {ear: rule_for(rate, every) for ear, rate in watched.items()}


def false_alarms_a_year(plan: Plan) -> float:
    """False alarms to expect of a child in a year in which nothing changes and what is usual was stated rightly.

    At most the budget: checks a year over the checks between two, summed over sounds and sides.
    """
    return sum(
        plan.checks_a_year[ear.side] / rule.checks_between(rule.rate) for ear, rule in rules_of(plan).items()
    )
