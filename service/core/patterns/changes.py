"""Now against before: the last school days of a school or a shelf held against its own earlier ones."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from service.core.measures.proportions import Share
from service.core.patterns.evidence import Two, chance_of
from service.core.patterns.looks import Finding, Kind, level

RECENT = {Kind.PASSED_ON: 10, Kind.CELLS: 15}
"""The last school days that count as now: two weeks for people, three for what lasts a week or two (local choice)."""

BEFORE = 20
"""School days without which there is nothing to hold them against (local choice)."""


@dataclass(frozen=True)
class Counted:
    """What happened at one place on one school day: so many of so many."""

    day: date
    share: Share


def changed(
    kind: Kind, places: Mapping[tuple[str, str], Sequence[Counted]], look: date
) -> Iterator[Finding]:
    """The places, each named by (what, school), at which it happened more often lately than ever before."""
    for (about, school), held in places.items():
        past = [counted for counted in held if counted.day <= look]
        recent, before = past[-RECENT[kind] :], past[: -RECENT[kind]]
        two = Two(_sum(recent), _sum(before))
        if len(before) >= BEFORE and chance_of(two) <= level(len(places)):
            yield Finding(kind, about, school, look, two.here, two.there)


def _sum(counted: Sequence[Counted]) -> Share:
    return Share(sum(c.share.count for c in counted), sum(c.share.of for c in counted))
