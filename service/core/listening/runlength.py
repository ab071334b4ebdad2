"""A cumulative sum, and how long a rule takes to speak up, by the Markov-chain method.

Brook, D. and Evans, D. A. (1972), An approach to the probability distribution of CUSUM run length,
Biometrika 59:539-549: the states that stay silent form a matrix R, and the average run lengths solve
(I - R) x = 1. `move` says where a state leads: pairs of probability and next state, None where the rule speaks.
"""

from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass, field
from typing import TypeVar

State = TypeVar("State", bound=Hashable)
Move = Callable[[State], Iterable[tuple[float, State | None]]]
Sum = TypeVar("Sum", int, float)


def added(total: Sum, score: Sum) -> Sum:
    """The one-sided cumulative sum after one more score; it never falls below none (Page 1954, Continuous inspection
    schemes, Biometrika 41:100-115).
    """
    return max(total + score, type(total)())


def average_run_length(start: State, move: Move[State]) -> float:
    """The expected number of observations until the rule speaks, from `start`.

    Raises ValueError where it never would.
    """
    return _solve(_rows(start, move))


def median_run_length(start: State, move: Move[State]) -> int:
    """The number of observations by which the rule has spoken in at least half of all cases, from `start`.

    Raises ValueError where it never would.
    """
    average_run_length(start, move)
    silent: dict[State, float] = {start: 1.0}
    steps = 0
    while sum(silent.values()) > 0.5:
        after: dict[State, float] = {}
        for state, weight in silent.items():
            for chance, following in move(state):
                if following is not None:
                    after[following] = after.get(following, 0.0) + weight * chance
        silent = after
        steps += 1
    return steps


@dataclass
class _Row:
    """What leads out of one state: to other silent states, or to speaking; `steps` is spent here on average."""

    to: dict[int, float] = field(default_factory=dict)
    speaks: float = 0.0
    steps: float = 1.0

    def goes(self, place: int, chance: float) -> None:
        self.to[place] = self.to.get(place, 0.0) + chance


def _rows(start: State, move: Move[State]) -> list[_Row]:
    """The chain over the states that can be reached; staying where one is goes without saying."""
    index = {start: 0}
    states = [start]
    rows: list[_Row] = []
    for state in states:
        row = _Row()
        for chance, following in move(state):
            if following is None:
                row.speaks += chance
            elif chance:
                if following not in index:
                    index[following] = len(states)
                    states.append(following)
                row.goes(index[following], chance)
        row.to.pop(len(rows), None)
        rows.append(row)
    return rows


def _solve(rows: list[_Row]) -> float:
    """The average steps from the first state, by elimination from the last. Nothing is ever subtracted, so that run
    lengths of any size keep their figures (Grassmann, Taksar and Heyman 1985, Regenerative analysis and steady state
    distributions for Markov chains, Operations Research 33:1107-1116; from memory).
    """
    for last in range(len(rows) - 1, 0, -1):
        row = rows[last]
        leaves = _leaves(row)
        for place, above in enumerate(rows[:last]):
            share = above.to.pop(last, 0.0) / leaves
            if share:
                _pass_through(above, row, share)
                above.to.pop(place, None)
    return rows[0].steps / _leaves(rows[0])


def _leaves(row: _Row) -> float:
    leaves = sum(row.to.values()) + row.speaks
    if not leaves:
        raise ValueError("the rule never speaks from some state that can be reached")
    return leaves


def _pass_through(row: _Row, through: _Row, share: float) -> None:
    row.steps += share * through.steps
    row.speaks += share * through.speaks
    for place, chance in through.to.items():
        row.goes(place, share * chance)
