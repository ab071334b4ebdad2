"""How often something happens for each so many days of a device worn."""

from service.core.distributions import gamma_quantile
from service.core.measures.interval import LEVEL, Estimate

PER = 100
"""Device-days that a rate is given for."""


def rate(events: int, device_days: float, per: float = PER, level: float = LEVEL) -> Estimate:
    """Events for each `per` device-days, with Garwood's exact limits for a Poisson count.

    Garwood 1936, Biometrika 28:437-442: half the chi-square quantiles with 2k and 2k+2 degrees of freedom, over
    the exposure. Events that come in bursts make the limits too narrow. No value without a day.
    """
    if device_days <= 0:
        return Estimate(None, None, None)
    scale = per / device_days
    tail = (1 - level) / 2
    low = gamma_quantile(tail, events) if events else 0.0
    return Estimate(events * scale, low * scale, gamma_quantile(1 - tail, events + 1) * scale)
