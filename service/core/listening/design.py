"""How much it takes to speak up: two rules that share one budget of false alarms.

*Points.* A one-sided Bernoulli CUSUM on misses, in whole points: a miss adds `miss` points, a sound heard takes one
away (never below none), and `limit` points speak. The ratio follows the log likelihood ratio of the usual share of
misses against one that is 35 in 100 greater (95 % heard falling to 60 %), rounded to a whole number, which keeps
the chain exact (Reynolds and Stoumbos 1999, A CUSUM chart for monitoring a proportion when inspecting continuously,
Journal of Quality Technology 31:87-108; from memory).

*Running.* The same miss on three checks running, as practice has it (a centre for deaf pupils, professionals.cid.edu:
the same errors two to three days in a row); longer runs where a sound is usually missed, since three running would
come by chance.

Both run in one Markov chain, so the run length between false alarms is that of the two together.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache
from math import log

from service.core.listening.runlength import Move, added, average_run_length, median_run_length

DROP = 0.35
"""The fall in the share of checks on which a sound is heard that the points are made for."""

BUDGET = 0.5
"""False alarms that are accepted for one child in one school year, over all sounds and sides. Local choice."""

SCHOOL_DAYS = 180
"""School days of a year; usual in many districts, no source."""

RUNNING_AT_LEAST = 3
State = tuple[int, int]


@dataclass(frozen=True)
class Rule:
    """When a sound on a side speaks up: at `limit` points, or after `running` misses running.

    `rate` is the usual share of misses it is made for, `every` the wished run length in checks.
    """

    rate: float
    miss: int
    limit: int
    running: int

    def after(self, state: State, is_missed: bool) -> State:
        """Points and misses running after one more check, from `state`."""
        points, running = state
        return (added(points, self.miss), running + 1) if is_missed else (added(points, -1), 0)

    def speaks(self, state: State) -> bool:
        """Whether the rule speaks up in that state."""
        return state[0] >= self.limit or state[1] >= self.running

    def checks_between(self, rate: float) -> float:
        """The average number of checks until the rule speaks where the share `rate` is missed, from no points."""
        return average_run_length((0, 0), self._move(rate))

    def median_checks(self, rate: float) -> int:
        """The checks within which the rule has spoken in half of all cases where the share `rate` is missed."""
        return median_run_length((0, 0), self._move(rate))

    def _move(self, rate: float) -> Move[State]:
        def move(state: State) -> Iterable[tuple[float, State | None]]:
            for chance, is_missed in ((1 - rate, False), (rate, True)):
                after = self.after(state, is_missed)
                yield chance, None if self.speaks(after) else after

        return move


def wished_run_length(checks_a_year: int, budget: float = BUDGET) -> float:
    """The checks between false alarms that keep a child within the budget, for each sound on each side.

    `checks_a_year` counts every sound on every side each time it is checked. Raises ValueError for a budget or a
    count that is not above zero.
    """
    if budget <= 0 or checks_a_year <= 0:
        raise ValueError(f"{checks_a_year} checks and {budget} false alarms a year; both must be above zero")
    return checks_a_year / budget


@cache
def rule_for(rate: float, every: float) -> Rule:
    """The rule for a usual share of misses whose false alarms are at least `every` checks apart on average.

    Misses running may use up half of the budget; the limit of the points is the least that keeps the whole.
    Raises ValueError for a share outside (0, 1 - DROP).
    """
    if not 0 < rate < 1 - DROP:
        raise ValueError(
            f"a usual share of misses of {rate} cannot be watched; give one between 0 and {1 - DROP}"
        )
    miss = _points(rate)
    running = _least(RUNNING_AT_LEAST, lambda n: run_of(rate, n) >= 2 * every)
    limit = _least(1, lambda points: Rule(rate, miss, points, running).checks_between(rate) >= every)
    return Rule(rate, miss, limit, running)


def _points(rate: float) -> int:
    more = rate + DROP
    heard = -log((1 - more) / (1 - rate))
    missed = log(more / rate) + log((1 - rate) / (1 - more))
    return round(missed / heard) - 1


def run_of(rate: float, running: int) -> float:
    """The expected number of trials until `running` successes running (Feller 1968, An Introduction to Probability
    Theory and Its Applications I, XIII.7; from memory).
    """
    return float((1 - rate**running) / (rate**running * (1 - rate)))


def _least(start: int, is_enough: Callable[[int], bool]) -> int:
    found = start
    while not is_enough(found):
        found += 1
    return found
