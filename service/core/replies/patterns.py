"""Patterns of words: "(changed|replaced) (the|his|) (battery|cell)" without writing out what it stands for.

A pattern is cut into nodes: from each, a word leads on to the next. All patterns of a list begin at one table
of first words, so that looking for them costs what the words of the reply lead to, not how many there are.
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

_GROUP = re.compile(r"[()]")
_WIDEST_GAP = 2

Split = Callable[[str], tuple[str, ...]]


@dataclass(slots=True, eq=False)
class Node:
    """A place within patterns: the words that lead on, and what it means to have come here."""

    after: dict[str, list["Node"]] = field(default_factory=dict)
    means: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Found:
    """A pattern found: what it means, the places of its words, how many of them are weighty."""

    means: Mapping[str, str]
    places: tuple[int, ...]
    weight: int


def alternatives(pattern: str) -> list[list[str]]:
    """The pieces of a pattern, each with its alternatives ("" where it may be left out)."""
    return [piece.split("|") for piece in _GROUP.split(pattern) if piece.strip() or "|" in piece]


def size(pieces: Sequence[Sequence[str]]) -> int:
    """How many phrases the pieces stand for."""
    count = 1
    for piece in pieces:
        count *= len(piece)
    return count


def written_out(pieces: Sequence[Sequence[str]]) -> Iterator[str]:
    """Every phrase that the pieces stand for."""
    return (" ".join(chosen) for chosen in product(*pieces))


def single_words(pieces: Sequence[Sequence[str]], split: Split) -> Iterator[tuple[str, ...]]:
    """The phrases of one word that the pieces stand for, all others being left out."""
    for at, piece in enumerate(pieces):
        if all("" in other for other in (*pieces[:at], *pieces[at + 1 :])):
            yield from (words for words in map(split, piece) if len(words) == 1)


def lay(start: Node, pieces: Sequence[Sequence[str]], split: Split, means: dict[str, str]) -> None:
    """Add a pattern that means `means` to those that begin at `start`."""
    front = [start]
    for piece in pieces:
        ending = Node()
        onward: list[Node] = [ending]
        for choice in piece:
            words = split(choice)
            if words:
                _chain(front, words, ending)
            else:
                onward += [node for node in front if node not in onward]
        front = onward
    for node in front:
        if node is not start:
            node.means.update(means)


def _chain(front: Sequence[Node], words: tuple[str, ...], ending: Node) -> None:
    """Lead from every node of `front` through `words` to `ending`."""
    here = ending
    for word in reversed(words[1:]):
        before = Node()
        before.after.setdefault(word, []).append(here)
        here = before
    for node in front:
        node.after.setdefault(words[0], []).append(here)


def find(start: Node, at: int, words: Sequence[str], light: frozenset[str]) -> Found | None:
    """The longest pattern that begins at `at`; light words of the reply may stand within it."""
    nodes = start.after.get(words[at])
    if not nodes:
        return None
    best: Found | None = None
    trails: dict[Node, tuple[int, ...]] = dict.fromkeys(nodes, (at,))
    here = at
    while trails:
        ended = [node for node, places in trails.items() if node.means and places[-1] == here]
        if ended and here > at:
            best = _found(ended, trails[ended[0]], words, light)
        here += 1
        if here >= len(words):
            break
        trails = _onward(trails, here, words[here], words[here] in light)
    return best


def _onward(trails: dict[Node, tuple[int, ...]], here: int, word: str, is_light: bool) -> dict[Node, tuple[int, ...]]:
    """Where `word`, which stands `here`, leads on to; a light one may also be passed over."""
    onward: dict[Node, tuple[int, ...]] = {}
    for before, places in trails.items():
        for node in before.after.get(word, ()):
            onward.setdefault(node, (*places, here))
    if is_light:
        for node, places in trails.items():
            if here - places[-1] <= _WIDEST_GAP:
                onward.setdefault(node, places)
    return onward


def _found(ended: Sequence[Node], places: tuple[int, ...], words: Sequence[str], light: frozenset[str]) -> Found:
    means: dict[str, str] = {}
    for node in ended:
        for kind, value in node.means.items():
            means.setdefault(kind, value)
    return Found(means, places, 1 + sum(words[place] not in light for place in places[1:]))
