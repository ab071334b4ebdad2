"""Chases from their rows."""

from service.core.chains import Chase
from service.engine.codec import decode
from service.store.tables import ChaseRow


def load(row: ChaseRow) -> Chase:
    """The chase a row holds."""
    return decode(Chase, row.body["chase"])
