"""How simulated channels carry messages: at once, slowly, twice, not at all, or nobody knows."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache

from service.engine.postman import Outcome, Report
from tests.simulation.chance import dice, drawn
from tests.simulation.nature import nature

ATTEMPT = timedelta(seconds=10)
"""An attempt lasts at most this long."""

GOOD = 95
BAD = {"slow": 2, "lost": 1, "unknown": 0.5, "doubled": 0.5, "busy": 0.5, "bounce": 0.3, "refuse": 0.2}
"""How often, beside the good ones, an attempt meets a fault without any weather."""


@dataclass(frozen=True)
class Weather:
    """From an instant until another a channel (None: each) does something towards a person (None: everybody)."""

    since: datetime
    until: datetime
    channel: str | None
    person: str | None
    does: str

    def holds(self, at: datetime, channel: str, person: str) -> bool:
        here = self.channel in (None, channel) and self.person in (None, person)
        return here and self.since <= at < self.until


@dataclass(frozen=True)
class Fate:
    """What becomes of an attempt: how many copies `arrive`, what the sender hears and `after` how long, and how
    long afterwards the message comes back (None: it does not).
    """

    does: str
    copies: int
    after: timedelta
    report: Report
    bounce: timedelta | None = None


def fate(seed: int, weather: list[Weather], at: datetime, channel: str, person: str, name: str) -> Fate:
    """What becomes of the attempt of this name."""
    chance = dice(seed, "fate", name)
    holding = [w.does for w in weather if w.holds(at, channel, person)]
    found = holding[-1] if holding else drawn(chance, _odds(nature(seed).line))
    return _fate(found, timedelta(seconds=chance.choice([1, 3, 9])), timedelta(minutes=chance.choice([1, 3, 20])))


def does(fault: str) -> Fate:
    """What becomes of an attempt that meets this fault: where it is slow, in 3 s; where it comes back, after 3 min."""
    return _fate(fault, timedelta(seconds=3), timedelta(minutes=3))


@cache
def _odds(share: float) -> dict[str, float]:
    return {"accept": GOOD + (1 - share) * sum(BAD.values()), **{does: share * odds for does, odds in BAD.items()}}


def _fate(does: str, slow: timedelta, later: timedelta) -> Fate:
    match does:
        case "slow":
            return Fate(does, 1, slow, Report(Outcome.ACCEPTED))
        case "lost":
            return Fate(does, 0, ATTEMPT, Report(Outcome.TIMED_OUT, "no answer"))
        case "unknown":
            return Fate(does, 1, ATTEMPT, Report(Outcome.TIMED_OUT, "no answer"))
        case "doubled":
            return Fate(does, 2, timedelta(), Report(Outcome.ACCEPTED))
        case "busy":
            return Fate(does, 0, timedelta(), Report(Outcome.REFUSED, "busy", after=timedelta(seconds=30)))
        case "refuse":
            return Fate(does, 0, timedelta(), Report(Outcome.REFUSED, "no", for_good=True))
        case "gone":
            return Fate(does, 0, timedelta(), Report(Outcome.GONE, "gone", for_good=True))
        case "bounce":
            return Fate(does, 1, timedelta(), Report(Outcome.ACCEPTED), later)
        case _:
            return Fate("accept", 1, timedelta(), Report(Outcome.ACCEPTED))


ACCEPTED = _fate("accept", timedelta(), timedelta())
"""What becomes of it on a good line."""
