"""Answers that somebody else found otherwise within the hour: counted for training, never to rank anybody.

Off unless district and staff agree; the checker sees it first. Answers that never show a miss are no sign of
anything: that is what well-fitted children look like.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from service.core.reading import Result

WITHIN = timedelta(hours=1)
"""How soon a fault must be found for the earlier answer to count as contradicted; local choice."""


@dataclass(frozen=True)
class Word:
    """What one person said of one child."""

    at: datetime
    person: str
    student: str
    result: Result


@dataclass(frozen=True)
class Contradicted:
    """`said` was that it works, `found` a fault, by somebody else."""

    said: Word
    found: Word


def contradicted(words: Iterable[Word], within: timedelta = WITHIN) -> tuple[Contradicted, ...]:
    """Answers "working" after which another person found a fault on the same child, in order of time; each answer
    counts once.
    """
    children: defaultdict[str, list[Word]] = defaultdict(list)
    for word in sorted(words, key=lambda word: word.at):
        children[word.student].append(word)
    pairs = [pair for held in children.values() for pair in _of_child(held, within)]
    return tuple(sorted(pairs, key=lambda pair: pair.said.at))


def _of_child(held: Sequence[Word], within: timedelta) -> Iterator[Contradicted]:
    for place, said in enumerate(held):
        found = next((word for word in held[place + 1 :] if _overturns(word, said, within)), None)
        if said.result is Result.WORKING and found is not None:
            yield Contradicted(said, found)


def _overturns(word: Word, said: Word, within: timedelta) -> bool:
    other = word.person != said.person
    return other and word.result is Result.FAULT and timedelta() <= word.at - said.at <= within
