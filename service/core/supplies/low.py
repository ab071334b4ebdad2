"""A shelf that has run low is told of once: not daily, and again only after it was filled and counted in between."""

from collections.abc import Set
from typing import TypeVar

Shelf = TypeVar("Shelf")


def newly_low(low: Set[Shelf], told: Set[Shelf], counted: Set[Shelf]) -> tuple[frozenset[Shelf], frozenset[Shelf]]:
    """Of the shelves now low those to tell of, and what is to be remembered as told.

    `counted` are those that were counted since they were told of. A shelf that is not low only because things are used
    more slowly than they were stays told: nothing was put on it.
    """
    return frozenset(low - told), frozenset(low | (told - counted))
