"""A shelf that has run low is told of once: not daily, and again only after it was full in between."""

from collections.abc import Set
from typing import TypeVar

Shelf = TypeVar("Shelf")


def newly_low(low: Set[Shelf], told: Set[Shelf]) -> tuple[frozenset[Shelf], frozenset[Shelf]]:
    """Of the shelves now low those to tell of, and what is to be remembered as told."""
    return frozenset(low - told), frozenset(low)
