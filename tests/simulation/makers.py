"""The worlds' databases by name."""

from functools import partial

from tests.simulation.alone import Alone
from tests.simulation.runs import MakeCrew
from tests.simulation.shared import Shared

DATABASES = ("sqlite", "postgres")


def maker(database: str, instances: int) -> MakeCrew:
    """How a run gets its instances."""
    return Alone if database == "sqlite" else partial(Shared, instances=instances)
