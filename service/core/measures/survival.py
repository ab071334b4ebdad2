"""Times until something happens, where for some it has not happened yet: Kaplan and Meier's estimate.

An open fault is not left out (that would make repairs look quick) and not counted as mended now; it says "longer
than so far". Kaplan and Meier 1958, J Am Stat Assoc 53:457-481; variance by Greenwood 1926.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import exp, log, sqrt

from service.core.distributions import normal_quantile
from service.core.measures.interval import LEVEL, Estimate


@dataclass(frozen=True)
class Spell:
    """How long something took, in one unit throughout; not `ended`: at least so long, and still going on."""

    length: float
    ended: bool = True

    def __post_init__(self) -> None:
        if self.length < 0:
            raise ValueError(f"a time of {self.length} is less than none")


@dataclass(frozen=True)
class Point:
    """The curve just after `time`: of `at_risk` spells that lasted so long `ended` ended then; `going` is the
    share still going on, `error` its standard error (Greenwood), `low` and `high` its limits.
    """

    time: float
    at_risk: int
    ended: int
    going: float
    error: float
    low: float
    high: float


def curve(spells: Iterable[Spell], level: float = LEVEL) -> tuple[Point, ...]:
    """The share still going on after each time at which a spell ended, in order of time.

    A spell cut off at a time is still at risk there. Limits on the scale log(-log), which keeps them between 0 and
    1 (Kalbfleisch and Prentice 1980).
    """
    held = list(spells)
    ends = Counter(s.length for s in held if s.ended)
    z = normal_quantile((1 + level) / 2)
    going, sum_of_terms = 1.0, 0.0
    points: list[Point] = []
    lengths = sorted(s.length for s in held)
    before = 0
    for time in sorted(ends):
        while lengths[before] < time:
            before += 1
        at_risk, ended = len(lengths) - before, ends[time]
        if ended == at_risk:
            # The curve ends at nothing, where the formula for its limits has none: the last upper one stands.
            high = points[-1].high if points else 1.0
            points.append(Point(time, at_risk, ended, 0.0, 0.0, 0.0, high))
            continue
        going *= 1 - ended / at_risk
        sum_of_terms += ended / (at_risk * (at_risk - ended))
        root = sqrt(sum_of_terms)
        reach = exp(z * root / -log(going))
        points.append(Point(time, at_risk, ended, going, going * root, going**reach, going ** (1 / reach)))
    return tuple(points)


def quantile(points: Sequence[Point], share: float = 0.5) -> Estimate:
    """The time by which `share` of spells have ended (the median, where nobody says), with limits.

    The first time at which the curve is at or below 1 - share; the limits are the first times at which the limits
    of the curve are (Brookmeyer and Crowley 1982, Biometrics 38:29-41, on the log(-log) scale of the curve). None
    where a curve has not come down so far: too many are still going on.
    """
    left = 1 - share
    return Estimate(
        _first(points, [p.going for p in points], left),
        _first(points, [p.low for p in points], left),
        _first(points, [p.high for p in points], left),
    )


def _first(points: Sequence[Point], heights: Sequence[float], left: float) -> float | None:
    slack = 1e-12
    return next((p.time for p, h in zip(points, heights, strict=True) if h <= left + slack), None)


def ended_by(points: Sequence[Point], time: float) -> Estimate:
    """The share that has ended by `time`, with limits."""
    held = [p for p in points if p.time <= time]
    if not held:
        return Estimate(0.0 if points else None, None, None)
    return Estimate(1 - held[-1].going, 1 - held[-1].high, 1 - held[-1].low)
