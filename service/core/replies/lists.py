"""The word lists as they are written, gathered: phrases, patterns, stems, and the words without a meaning here."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from service.core.replies.patterns import Node, alternatives, lay, single_words, size, written_out
from service.core.replies.tokens import fold, tokens

_MOST_WRITTEN_OUT = 24
_BREAKS = re.compile(r"[()|]")
_STEMS = ("swallow", "mouth", "cell", "across")


def folded(phrase: str) -> tuple[str, ...]:
    """The words of a phrase as a reply's words are folded."""
    return tuple(token.word for token in tokens(fold(phrase)))


@dataclass
class Lists:
    """What the lists of several languages say. `inside` maps the words of patterns to the kinds they are heard in."""

    meanings: dict[tuple[str, ...], dict[str, str]] = field(default_factory=dict)
    patterns: Node = field(default_factory=Node)
    inside: dict[str, set[str]] = field(default_factory=dict)
    spoken: dict[str, set[str]] = field(default_factory=dict)
    plain: set[str] = field(default_factory=set)
    light: set[str] = field(default_factory=set)
    stems: dict[str, set[str]] = field(default_factory=lambda: {name: set() for name in _STEMS})

    def take(self, document: dict[str, object], language: str) -> None:
        """Add the lists of one language, and note which words are of it."""
        for name, listed in _stems_of(document):
            self.stems.setdefault(name, set()).update(listed)
        plain, light = (str(document.pop(name, "")).split() for name in ("plain", "light"))
        self.plain.update(plain)
        self.light.update(light)
        for word in (*plain, *light):
            self.spoken.setdefault(word, set()).add(language)
        for kind, value, entry in _entries(document):
            for word in _BREAKS.sub(" ", entry).split():
                for part in folded(word):
                    self.spoken.setdefault(part, set()).add(language)
            for words in self._phrases(kind, value, entry):
                self.meanings.setdefault(words, {}).setdefault(kind, value)

    def _phrases(self, kind: str, value: str, entry: str) -> Iterable[tuple[str, ...]]:
        """The phrases of an entry that are written out; one that stands for too many is laid as a pattern."""
        pieces = alternatives(entry)
        if size(pieces) <= _MOST_WRITTEN_OUT:
            return (words for words in map(folded, written_out(pieces)) if words)
        lay(self.patterns, pieces, folded, {kind: value})
        for word in (word for piece in pieces for choice in piece for word in folded(choice)):
            self.inside.setdefault(word, set()).add(kind)
        return single_words(pieces, folded)

    def heard(self) -> dict[str, set[str]]:
        """Every listed word, with the kinds of phrases it is heard in."""
        found = {word: set(kinds) for word, kinds in self.inside.items()}
        for phrase, means in self.meanings.items():
            for word in phrase:
                found.setdefault(word, set()).update(means)
        return found


def _stems_of(document: dict[str, object]) -> list[tuple[str, list[str]]]:
    found = document.pop("stems", {})
    return [(name, list(listed)) for name, listed in found.items()] if isinstance(found, dict) else []


def _entries(document: Mapping[str, object]) -> Iterator[tuple[str, str, str]]:
    """Every entry as it is written, with its kind and value."""
    for kind, content in document.items():
        if isinstance(content, str):
            listed: Mapping[str, object] = {"": [w.replace("-", " ") for w in content.split()]}
        else:
            listed = content if isinstance(content, dict) else {"": content}
        for value, phrases in listed.items():
            for phrase in phrases if isinstance(phrases, list) else ():
                yield kind, value, str(phrase)
