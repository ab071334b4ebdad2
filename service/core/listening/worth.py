"""What is worth looking at: which sounds went, on which side. Never what it is due to."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from service.core.listening.slipping import Watched
from service.core.listening.usual import Ear


class Pattern(StrEnum):
    """Which of the sounds that a child usually hears went, gravest first."""

    ALL_BOTH = "all sounds on both sides"
    ALL_ONE_SIDE = "all sounds on one side"
    HIGH_BOTH = "high sounds on both sides"
    HIGH_ONE_SIDE = "high sounds on one side"
    SOME = "some sounds"


@dataclass(frozen=True)
class Worth:
    """A pattern with the sounds it rests on; `side` is empty for both, or with everything as worn."""

    pattern: Pattern
    side: str
    sounds: tuple[str, ...]


def worth_looking_at(watched: Mapping[Ear, Watched], high: Collection[str]) -> tuple[Worth, ...]:
    """What to say of a child once a rule has spoken, gravest first; nothing while none has.

    Beside the sounds of which a rule spoke, those count that are half of the way there: sounds that went together
    do not speak on the same day. `high` are the high sounds of the set.
    """
    spoken = {ear.side for ear, standing in watched.items() if standing.spoke}
    if not spoken:
        return ()
    each = {side: _of(side, watched, high) for side in sorted(_sides(watched))}
    found = [
        w for w in each.values() if w is not None and (w.side in spoken or w.pattern is not Pattern.SOME)
    ]
    return tuple(sorted(_joined(found), key=lambda w: (list(Pattern).index(w.pattern), w.side)))


def _sides(watched: Mapping[Ear, Watched]) -> set[str]:
    return {ear.side for ear in watched}


def _of(side: str, watched: Mapping[Ear, Watched], high: Collection[str]) -> Worth | None:
    usual = [ear.sound for ear in watched if ear.side == side]
    gone = tuple(ear.sound for ear, standing in watched.items() if ear.side == side and standing.is_halfway)
    if not gone:
        return None
    if len(usual) > 1 and len(gone) == len(usual):
        return Worth(Pattern.ALL_ONE_SIDE if side else Pattern.ALL_BOTH, side, gone)
    if set(gone) <= set(high):
        return Worth(Pattern.HIGH_ONE_SIDE if side else Pattern.HIGH_BOTH, side, gone)
    return Worth(Pattern.SOME, side, gone)


_BOTH = {Pattern.ALL_ONE_SIDE: Pattern.ALL_BOTH, Pattern.HIGH_ONE_SIDE: Pattern.HIGH_BOTH}


def _joined(found: Iterable[Worth]) -> list[Worth]:
    """The same on the left and on the right is said once, of both sides."""
    held = list(found)
    for one, both in _BOTH.items():
        same = [w for w in held if w.pattern is one]
        if len(same) == 2:
            sounds = tuple(dict.fromkeys(s for w in same for s in w.sounds))
            held = [w for w in held if w not in same and w.pattern is not both] + [Worth(both, "", sounds)]
    return held
