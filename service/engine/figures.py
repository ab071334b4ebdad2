"""A few figures of how the service does, for a monitor: of numbers alone, no person, child or school among them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from math import ceil

from service.core.chains.climb import LATE
from service.engine.desk import Moment
from service.engine.health import health
from service.store import figures

LATELY = timedelta(hours=1)
"""How far back messages and lateness are looked at."""

LATEST = 1000
"""Of how many messages at most lateness is taken."""


@dataclass(frozen=True)
class Figures:
    """How the service does at one instant. `late` are those rounds due for over a minute; `messages` counts those of
    the last hour by state; `lateness` is in seconds, None where no step was told in that time.
    """

    rounds_due: int
    checks_due: int
    late: int
    chases_open: int
    unread: int
    messages: dict[str, int]
    oldest_unsent_seconds: int
    heartbeat_seconds: int | None
    lateness: float | None


def figures_of(m: Moment) -> Figures:
    """The figures at this moment."""
    well = health(m)
    return Figures(
        rounds_due=figures.rounds_due(m.tx, m.now),
        checks_due=figures.checks_due(m.tx, m.now),
        late=figures.rounds_due(m.tx, m.now - LATE),
        chases_open=figures.chases_open(m.tx),
        unread=figures.unread(m.tx),
        messages=figures.messages(m.tx, m.now - LATELY),
        oldest_unsent_seconds=well.oldest_unsent_seconds,
        heartbeat_seconds=well.seconds_since_heartbeat,
        lateness=p99([_late(told) for told in figures.told(m.tx, m.now - LATELY, LATEST)]),
    )


def _late(told: figures.Told) -> float:
    """Seconds from when a step was due until the pass that put its message into the outbox, waiting on purpose (C5)
    left out. What that pass itself took does not show: all it writes bears the instant it began at.
    """
    before, after = told.laid - told.due, told.put_out - told.not_before
    return sum(max(0.0, part.total_seconds()) for part in (before, after))


def p99(seconds: Sequence[float]) -> float | None:
    """The least of them that 99 of 100 do not exceed (the nearest rank); None of none."""
    ordered = sorted(seconds)
    return ordered[ceil(0.99 * len(ordered)) - 1] if ordered else None
