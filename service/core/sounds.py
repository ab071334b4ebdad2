"""The six-sound listening check: a fresh order for each check, with silences.

A child who always says "yes" is found out only by silences, and one who knows that every sound comes once
can finish the list by elimination: six different sounds guessed as a permutation reach four right in 16 of
720 cases, independent guesses in 0.87 %. So some sounds come twice, and some lines are silence.
"""

import hashlib
import random
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from importlib.resources import files
from itertools import chain

SIX: tuple[str, ...] = ("m", "oo", "ah", "ee", "sh", "s")
"""Ling 1976 and 1989: low to high in pitch, across the range of speech."""

TRIALS = 10
"""Lines of one check: six sounds, one or two silences, and two or three sounds again (local choice)."""

Order = tuple[str | None, ...]
"""The lines of one check in the order in which they are said; None is a silence."""


@dataclass(frozen=True)
class SoundSet:
    """The sounds of a check, low to high; `high` are those that lie high in pitch."""

    sounds: tuple[str, ...]
    high: tuple[str, ...]

    @property
    def trials(self) -> int:
        """Lines of one check: every sound, and as many more as the six have."""
        return len(self.sounds) + TRIALS - len(SIX)


@cache
def sound_sets() -> Mapping[str, SoundSet]:
    """The sets that are shipped, by name; `six` is the default."""
    read = tomllib.loads(files("service.core").joinpath("devices_data", "sounds.toml").read_text("utf-8"))
    return {name: SoundSet(tuple(entry["sounds"]), tuple(entry["high"])) for name, entry in read.items()}


def seed_for(student: str, day: date, secret: bytes) -> bytes:
    """The seed of a student's order on a day; `secret` keeps tomorrow's order from being worked out."""
    parts = (b"sounds", student.encode(), day.isoformat().encode(), secret)
    return hashlib.sha256(b"\x00".join(parts)).digest()


def order(
    seed: bytes | int,
    trials: int = TRIALS,
    sounds: tuple[str, ...] = SIX,
) -> Order:
    """A random order of `trials` lines.

    Every sound comes at least once and some again; there is at least one silence, and the check never begins
    with two. The same arguments give the same order.
    Raises ValueError where `trials` leaves no room for a repeat and silences.
    """
    return next(_orders(seed, trials, sounds))


def order_after(seeds: Iterable[bytes | int], trials: int = TRIALS, sounds: tuple[str, ...] = SIX) -> Order:
    """The order of a day that never equals that of the school day before.

    `seeds` are those of the day, of the school day before it and so on back; nearly always two are taken, and all
    of them say what the days before had. Raises ValueError as `order` does, or where there is no seed.
    """
    earlier = iter(seeds)
    seed = next(earlier, None)
    if seed is None:
        raise ValueError("no seed; at least that of the day itself is needed")
    own = _orders(seed, trials, sounds)
    first = next(own)
    before = next(earlier, None)
    if before is None or first not in _first_two(_orders(before, trials, sounds)):
        return first
    taken = order_after(chain((before,), earlier), trials, sounds)
    return first if first != taken else next(lines for lines in own if lines != taken)


def _first_two(orders: Iterator[Order]) -> tuple[Order, Order]:
    """What the day of these orders may have had: its first, or the next other one."""
    first = next(orders)
    return first, next(lines for lines in orders if lines != first)


def _orders(seed: bytes | int, trials: int, sounds: tuple[str, ...]) -> Iterator[Order]:
    if trials < len(sounds) + 3:
        raise ValueError(f"{trials} lines are too few for {len(sounds)} sounds; at least {len(sounds) + 3}")
    chance = random.Random(_number(seed))  # noqa: S311 - an order to read out, not a secret
    while True:
        lines = _draw(chance, trials, sounds)
        if lines[:2] != (None, None):
            yield lines


def _number(seed: bytes | int) -> int:
    text = seed if isinstance(seed, bytes) else str(seed).encode()
    return int.from_bytes(hashlib.sha256(text).digest())


def _draw(chance: random.Random, trials: int, sounds: tuple[str, ...]) -> Order:
    extra = trials - len(sounds)
    silences = chance.randint(1, max(1, extra // 2))
    again = [chance.choice(sounds) for _ in range(extra - silences)]
    lines: list[str | None] = [*sounds, *again, *([None] * silences)]
    chance.shuffle(lines)
    return tuple(lines)
