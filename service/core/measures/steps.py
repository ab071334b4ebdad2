"""Which step of a chain saves the day, and where a limit is longer than those who answer ever need."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median

from service.core.measures.interval import Estimate
from service.core.measures.proportions import Share, by_child
from service.core.measures.survival import Spell, curve, quantile

ENOUGH = 10
"""Answers at a step below which nothing is said about its limit (local choice)."""

TWICE = 2
"""A limit of so many times what nine of ten answers took counts as too long (local choice, no source)."""


@dataclass(frozen=True)
class Turn:
    """One step of one chase that came to somebody. `took` are the minutes until they took it on or settled it, cut
    off where another's turn, or the end of it all, came first; `limit` in minutes, None to the day's end.
    """

    chain: str
    position: int
    who: str
    student: str
    took: Spell
    limit: float | None


@dataclass(frozen=True)
class Step:
    """A step over many chases: of `reached` turns `saved` were taken on or settled by whoever's turn it was.

    `saves` is that share with limits by child. `median` in minutes counts turns passed on as longer than they
    lasted. `nine_of_ten` is the time within which nine of ten of the answers came; `limit` the usual one.
    """

    chain: str
    position: int
    who: str
    reached: int
    saved: int
    saves: Estimate
    median: Estimate
    nine_of_ten: float | None
    limit: float | None

    @property
    def too_long(self) -> bool:
        """Whether enough answers say that the next could be told sooner at little cost."""
        if self.saved < ENOUGH or self.limit is None or self.nine_of_ten is None:
            return False
        return self.limit >= TWICE * self.nine_of_ten


def steps(turns: Iterable[Turn]) -> tuple[Step, ...]:
    """The steps of each chain, in order of chain and position."""
    found: defaultdict[tuple[str, int, str], list[Turn]] = defaultdict(list)
    for turn in turns:
        found[turn.chain, turn.position, turn.who].append(turn)
    return tuple(_step(*key, held) for key, held in sorted(found.items()))


def _step(chain: str, position: int, who: str, turns: Sequence[Turn]) -> Step:
    answers = sorted(t.took.length for t in turns if t.took.ended)
    limits = [t.limit for t in turns if t.limit is not None]
    children: defaultdict[str, list[bool]] = defaultdict(list)
    for turn in turns:
        children[turn.student].append(turn.took.ended)
    return Step(
        chain,
        position,
        who,
        len(turns),
        len(answers),
        by_child([Share(sum(ends), len(ends)) for ends in children.values()]),
        quantile(curve([t.took for t in turns])),
        answers[-(-9 * len(answers) // 10) - 1] if answers else None,
        median(limits) if limits else None,
    )
