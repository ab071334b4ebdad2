"""A figure of ours beside what the same machine can do at all, measured in turn in the same run."""

import statistics
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

T = TypeVar("T")
RUNS = 3


@dataclass(frozen=True)
class Figure:
    """One line of the table. `unit` is of both figures; the ratio is ours divided by the limit."""

    name: str
    limit_name: str
    limit: float
    ours: float
    unit: str

    def __str__(self) -> str:
        ratio = self.ours / self.limit if self.limit else float("nan")
        figures = f"{_short(self.limit):>10}{_short(self.ours):>10} {self.unit:<11}{ratio:>8.2f}"
        return f"{self.name:<58}{figures}  {self.limit_name}"


HEAD = f"{'':<58}{'limit':>10}{'ours':>10} {'':<11}{'ratio':>8}  the limit is"


def beside(
    name: str, limit_name: str, unit: str, limit: Callable[[], float], ours: Callable[[], float]
) -> Figure:
    """The medians of a few runs of both, in turn."""
    least, most = (statistics.median(column) for column in zip(*in_turn(limit, ours), strict=True))
    return Figure(name, limit_name, least, most, unit)


def in_turn(limit: Callable[[], T], ours: Callable[[], T]) -> list[tuple[T, T]]:
    """A few runs of both, in turn."""
    return [(limit(), ours()) for _ in range(RUNS)]


def _short(value: float) -> str:
    return f"{value:,.0f}" if value >= 100 else f"{value:,.2f}"
