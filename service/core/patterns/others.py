"""One against the rest: a type of cable against the others, what one adult answers against what all do."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from service.core.measures.proportions import Share
from service.core.patterns.evidence import by_child, chance_of
from service.core.patterns.looks import Finding, Kind, level

AT_LEAST = 3
"""Times that it must have happened before anything is said (local choice)."""


@dataclass(frozen=True)
class Seen:
    """One child on one day, and whether it happened."""

    day: date
    child: str
    happened: bool


def stands_out(kind: Kind, held: Mapping[tuple[str, str], Sequence[Seen]], look: date) -> Iterator[Finding]:
    """Those, each named by (what, school), with which it happened more often than with all others together."""
    shares = {key: _by_child(seen, look) for key, seen in held.items()}
    for (about, school), here in shares.items():
        there = [share for key, others in shares.items() if key != (about, school) for share in others]
        mine = _sum(here)
        if mine.count >= AT_LEAST and chance_of(by_child(here, there)) <= level(len(held)):
            yield Finding(kind, about, school, look, mine, _sum(there))


def begun(child: str, days: Mapping[date, bool]) -> Iterator[Seen]:
    """The days of a child, a fault that stands over several of them counted on its first alone."""
    before = False
    for day, found in sorted(days.items()):
        yield Seen(day, child, found and not before)
        before = found


def _by_child(seen: Sequence[Seen], look: date) -> list[Share]:
    found: dict[str, list[bool]] = {}
    for one in seen:
        if one.day <= look:
            found.setdefault(one.child, []).append(one.happened)
    return [Share(sum(each), len(each)) for each in found.values()]


def _sum(shares: Sequence[Share]) -> Share:
    return Share(sum(s.count for s in shares), sum(s.of for s in shares))
