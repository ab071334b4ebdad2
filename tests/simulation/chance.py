"""Chance of one seed: every draw has a name of its own, so that leaving one out changes no other."""

from collections.abc import Mapping
from random import Random
from typing import TypeVar

T = TypeVar("T")


def dice(*name: object) -> Random:
    """The dice that are thrown for what has this name, always with the same numbers."""
    return Random("/".join(map(str, name)))


def drawn(chance: Random, weights: Mapping[T, float]) -> T:
    """One of several things, each as likely as its weight says."""
    return chance.choices(list(weights), list(weights.values()))[0]
