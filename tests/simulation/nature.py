"""What kind of district a seed makes, and how much goes wrong in it.

A third of the seeds are small and wild: most of what can go wrong does. A third are mixed. A third are quiet: large
districts over three weeks of school, in which nearly everybody answers "ok" and something goes wrong now and then.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Nature:
    """One kind of district. What is a sequence is drawn from; what is a share is between 0 and 1."""

    name: str
    days: int
    schools: Sequence[int]
    rooms: Sequence[int]
    children: Sequence[int]
    zones: float
    """How many schools lie in a zone of their own."""
    part_time: float
    """How many people have three short days a week."""
    midday: float
    guardians: float
    often: Sequence[float]
    """How often, in a school's day, each kind of event happens: one number is drawn for each kind."""
    habits: Mapping[str, float]
    delays: Sequence[int]
    """Seconds to an answer of somebody who is not slow."""
    ok: float
    """How many answers to a prompt are a plain "ok" before anything else is drawn."""
    second_thoughts: float
    chatter: float
    """How many messages that ask for nothing may have an answer at all."""
    odd: float
    """How many answers may come outside their thread, unproven or twice."""
    line: float
    """How many attempts to send may meet a fault without any weather."""


WILD = Nature(
    "wild",
    days=3,
    schools=(1, 1, 2, 3),
    rooms=(1, 1, 2, 3),
    children=(1, 1, 2, 4, 8),
    zones=0.5,
    part_time=0.1,
    midday=0.08,
    guardians=0.4,
    often=(0.0, 0.5, 1.0, 2.5),
    habits={"prompt": 60, "slow": 14, "silent": 14, "muddled": 12},
    delays=(5, 20, 60, 60, 120, 120, 300),
    ok=0.0,
    second_thoughts=1.0,
    chatter=1.0,
    odd=1.0,
    line=1.0,
)
MIXED = Nature(
    "mixed",
    days=3,
    schools=(2,),
    rooms=(3, 4),
    children=(6, 8, 8),
    zones=0.5,
    part_time=0.1,
    midday=0.08,
    guardians=0.4,
    often=(0.0, 0.1, 0.4),
    habits={"prompt": 94, "slow": 2, "silent": 2, "muddled": 2},
    delays=(5, 20, 60, 60, 120, 120, 300),
    ok=0.85,
    second_thoughts=0.2,
    chatter=1.0,
    odd=1.0,
    line=1.0,
)
QUIET = Nature(
    "quiet",
    days=15,
    schools=(8,),
    rooms=(10,),
    children=(12, 16, 20),
    zones=0.0,
    part_time=0.0,
    midday=0.002,
    guardians=0.1,
    often=(0.0, 0.01, 0.05),
    habits={"prompt": 996, "slow": 1, "silent": 2, "muddled": 1},
    delays=(20, 60, 120),
    ok=0.99,
    second_thoughts=0.01,
    chatter=0.03,
    odd=0.03,
    line=0.05,
)
NATURES = (WILD, MIXED, QUIET)


def nature(seed: int) -> Nature:
    """The kind of district a seed makes."""
    return NATURES[seed % len(NATURES)]
