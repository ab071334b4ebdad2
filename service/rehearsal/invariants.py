"""An independent reader of a day's lines: which promises of the service were broken, and in which lines.

It knows the lines only, nothing of the engine that made them.
"""

from collections.abc import Sequence
from typing import Any


def broken(lines: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """The invariants that do not hold, each with the numbers of the lines that show it."""
    return []
