"""How many will be used: an uncertain rate, so that few data mean more on the shelf."""

from dataclasses import dataclass
from math import inf

from service.core.distributions import mixed_poisson_quantile
from service.core.measures.interval import LEVEL

ENOUGH = 5
"""Pieces used in the record below which the rate is taken from elsewhere (local choice)."""

GUESSED = 4.0
"""The shape of a rate that is no more than a guess: right within about a factor of two (local choice)."""

CALENDAR = 7 / 5
"""Days that a device is worn for each school day: it runs down at home as well."""


@dataclass(frozen=True)
class Demand:
    """Pieces used by one device in one school day: `rate` on average, gamma distributed with `shape`."""

    rate: float
    shape: float = inf

    def __post_init__(self) -> None:
        if self.rate < 0 or self.shape <= 0:
            raise ValueError(f"a rate of {self.rate} with shape {self.shape} is none")

    def at_most(self, device_days: float, level: float) -> int:
        """The number that use in so many device school days does not exceed with that probability."""
        return mixed_poisson_quantile(level, self.shape, self.rate * device_days)


@dataclass(frozen=True)
class Forecast:
    """Pieces that will be used: on average, and between which numbers with the level asked for."""

    expected: float
    low: int
    high: int


def by_record(used: int, device_days: float) -> Demand:
    """The demand after `used` pieces in so many device school days.

    The number of changes itself, early ones too, since each took a piece; Jeffreys' prior makes it a gamma with
    shape used + 1/2 and the exposure as its rate. Raises ValueError without a day.
    """
    if device_days <= 0:
        raise ValueError("no device was worn on any day; there is no record to go by")
    return Demand((used + 0.5) / device_days, used + 0.5)


def worn(devices: int, days: int, looked: int, expected: int) -> float:
    """Device school days of which the record would know a change: of so many school `days` the share on which somebody
    `looked`, of those on which they were `expected` to.

    So a child who is checked once a week wears its devices on all five days, and a day on which nobody answered says
    nothing. Days on which a child is away count, since there will be such among the days to come.
    """
    return devices * days * looked / expected if expected else 0.0


def by_life(days: float) -> Demand:
    """The demand where a piece lasts so many calendar days by what is printed about it."""
    return Demand(CALENDAR / days, GUESSED)


def demand(used: int, device_days: float, otherwise: Demand) -> Demand:
    """By the record once it holds enough, else `otherwise`."""
    return by_record(used, device_days) if used >= ENOUGH and device_days > 0 else otherwise


def forecast(of: Demand, device_days: float, level: float = LEVEL) -> Forecast:
    """What will be used in so many device school days, with limits for the number itself and not for its mean.

    The gamma mixture of Poisson counts is a negative binomial (any handbook of distributions).
    """
    tail = (1 - level) / 2
    return Forecast(
        of.rate * device_days, of.at_most(device_days, tail), of.at_most(device_days, 1 - tail)
    )
