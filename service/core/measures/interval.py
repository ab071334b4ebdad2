"""An estimate with the limits between which the true value lies, as far as the data can say."""

from dataclasses import dataclass

LEVEL = 0.95
"""How often such limits hold the true value, where nobody says otherwise."""


@dataclass(frozen=True)
class Estimate:
    """A value with its lower and upper limit, in the unit of the value; None where the data cannot say."""

    value: float | None
    low: float | None
    high: float | None
