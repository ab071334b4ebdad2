"""Chases from their rows."""

from typing import Any

from sqlalchemy.orm import object_session

from service.core.chains import Chase
from service.engine.codec import decode, encode_anew
from service.store.tables import ChaseRow

KNOWN = "chases"


def load(row: ChaseRow) -> Chase:
    """The chase a row holds, worked out once in a transaction as long as the row holds the same."""
    held = row.body["chase"]
    known = _known(row)
    before = known.get(row.id)
    if before is not None and before[0] is held:
        return before[1]
    chase = decode(Chase, held)
    known[row.id] = (held, chase)
    return chase


def body_with(row: ChaseRow, chase: Chase) -> dict[str, Any]:
    """The row's body with the chase as it is now."""
    held = encode_anew(chase, load(row), row.body["chase"])
    _known(row)[row.id] = (held, chase)
    return {**row.body, "chase": held}


def _known(row: ChaseRow) -> dict[str, tuple[object, Chase]]:
    session = object_session(row)
    known: dict[str, tuple[object, Chase]] = {} if session is None else session.info.setdefault(KNOWN, {})
    return known
