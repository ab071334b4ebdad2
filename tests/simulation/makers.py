"""The worlds' databases by name."""

from tests.simulation.alone import Alone
from tests.simulation.runs import MakeCrew

DATABASES = ("sqlite",)


def maker(database: str, instances: int) -> MakeCrew:
    """How a run gets its instances."""
    return Alone
