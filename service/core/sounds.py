"""The six-sound listening check: a fresh order for each check, with silences.

A child who always says "yes" is found out only by silences, and one who knows that every sound comes once
can finish the list by elimination: six different sounds guessed as a permutation reach four right in 16 of
720 cases, independent guesses in 0.87 %. So some sounds come twice, and some lines are silence.
"""

import hashlib
import random
from datetime import date

SIX: tuple[str, ...] = ("m", "oo", "ah", "ee", "sh", "s")
"""Ling 1976 and 1989: low to high in pitch, across the range of speech."""

TRIALS = 10
"""Lines of one check: six sounds, one or two silences, and two or three sounds again (local choice)."""


def seed_for(student: str, day: date, secret: bytes) -> bytes:
    """The seed of a student's order on a day; `secret` keeps tomorrow's order from being worked out."""
    parts = (b"sounds", student.encode(), day.isoformat().encode(), secret)
    return hashlib.sha256(b"\x00".join(parts)).digest()


def order(
    seed: bytes | int,
    trials: int = TRIALS,
    sounds: tuple[str, ...] = SIX,
    previous: tuple[str | None, ...] | None = None,
) -> tuple[str | None, ...]:
    """A random order of `trials` lines; None is a silence.

    Every sound comes at least once and some again; there is at least one silence, the check never begins
    with two, and it never equals `previous`. The same arguments give the same order.
    Raises ValueError where `trials` leaves no room for a repeat and silences.
    """
    if trials < len(sounds) + 3:
        raise ValueError(f"{trials} lines are too few for {len(sounds)} sounds; at least {len(sounds) + 3}")
    chance = random.Random(_number(seed))  # noqa: S311 - an order to read out, not a secret
    while True:
        lines = _draw(chance, trials, sounds)
        if lines != previous and lines[:2] != (None, None):
            return lines


def _number(seed: bytes | int) -> int:
    text = seed if isinstance(seed, bytes) else str(seed).encode()
    return int.from_bytes(hashlib.sha256(text).digest())


def _draw(chance: random.Random, trials: int, sounds: tuple[str, ...]) -> tuple[str | None, ...]:
    extra = trials - len(sounds)
    silences = chance.randint(1, max(1, extra // 2))
    again = [chance.choice(sounds) for _ in range(extra - silences)]
    lines: list[str | None] = [*sounds, *again, *([None] * silences)]
    chance.shuffle(lines)
    return tuple(lines)
