"""What a child usually misses: the baseline of one side and one sound, given by the audiologist or learnt.

A baseline is learnt from the first fifteen checks that say something (none with a fault open) and then proposed
to the audiologist; until she confirms it, nothing is watched. A sound that was never heard meanwhile, one that is
missed too often for a change to show, and one that is missed more than last term are questions to her.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from service.core.district import Side
from service.core.listening.answers import Level, Listening, missed
from service.core.listening.chance import tail

LEARNT_FROM = 15
"""Checks from which a baseline is learnt; local choice."""

CLASSES = (0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.35, 0.40)
"""Usual shares of misses that can be watched; a child's own is rounded up, so that false alarms are not more."""

WORSE_AT = 0.01
"""How unlikely more misses than last term must be, had nothing changed, to be asked about. Local choice."""


@dataclass(frozen=True, order=True)
class Ear:
    """One thing to watch: a sound on a side (empty: with everything as worn)."""

    side: str
    sound: str

    @classmethod
    def of(cls, side: Side | None, sound: str) -> "Ear":
        """The sound on that side."""
        return cls(side.value if side else "", sound)


@dataclass(frozen=True)
class Usual:
    """`missed` of `checks` is what is usual. Raises ValueError where that cannot be."""

    missed: int
    checks: int

    def __post_init__(self) -> None:
        if not 0 <= self.missed <= self.checks or not self.checks:
            raise ValueError(
                f"{self.missed} of {self.checks} missed; say how many of how many checks, at least one"
            )

    @property
    def rate(self) -> float:
        """The share that is usually missed, from few checks: the mean of a beta distribution that began with one half
        each (Jeffreys' prior; Brown, Cai and DasGupta 2001, Statistical Science 16:101-133; from memory).
        """
        return (self.missed + 0.5) / (self.checks + 1)

    @property
    def watched_at(self) -> float | None:
        """The class by which this is watched, or None where it is missed too often for a change to show."""
        return next((rate for rate in CLASSES if self.rate <= rate), None)


HEARD = Usual(0, LEARNT_FROM)
"""What "usually heard" means where the audiologist says no more."""


class Ask(StrEnum):
    """Why a learnt baseline is a question to the audiologist."""

    NEVER_HEARD = "never heard"
    SELDOM_HEARD = "missed too often for a change to show"
    WORSE = "missed more often than last term"


@dataclass(frozen=True)
class Learnt:
    """What learning has come to: `usual` is None until enough checks have said something."""

    checks: int
    usual: Usual | None = None
    ask: Ask | None = None


def learn(
    checks: Iterable[Listening], side: Side | None, sound: str, level: Level, last_term: Usual | None = None
) -> Learnt:
    """What the first checks of a side, in order, say of a sound; compared with what was usual last term."""
    said = [found for c in checks if c.side is side and (found := missed(c, sound, level)) is not None][
        :LEARNT_FROM
    ]
    if len(said) < LEARNT_FROM:
        return Learnt(len(said))
    usual = Usual(sum(said), len(said))
    return Learnt(len(said), usual, _question(usual, last_term))


def _question(usual: Usual, last_term: Usual | None) -> Ask | None:
    never_had = last_term is not None and last_term.missed == last_term.checks
    if last_term is not None and not never_had and is_worse(usual, last_term):
        return Ask.WORSE
    if usual.missed == usual.checks:
        return Ask.NEVER_HEARD
    return Ask.SELDOM_HEARD if usual.watched_at is None else None


def is_worse(now: Usual, before: Usual) -> bool:
    """Whether `now` holds more misses than chance explains had the share of `before` stayed (exact binomial test)."""
    stayed = before.watched_at or before.rate
    return tail(now.missed, now.checks, stayed) <= WORSE_AT
