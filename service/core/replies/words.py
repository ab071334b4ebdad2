"""The word lists, ready for use: phrases to meanings, and the one typing error that may be forgiven.

A list is a TOML file per language in `words/`: `kind = [phrases]`, or a table `[kind]` of `value = [phrases]`;
`filler` is one block of text (a hyphen joins the words of a phrase), and so is `plain`: words without a meaning
here that are never taken for a slip of another. A phrase may have meanings of several
kinds; what it means in a reply is the grammar's business. All languages listed are heard at once, since
replies mix them.

**Typing errors.** A word nobody listed may stand for a listed one at one edit's distance (a letter more,
less, other, or two swapped) only where the listed word is heard in bad news or a doubt, and in no good
news; so a slip can worsen a reply or leave it unclear, and never better it.
"""

import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

from service.core.district import FaultText
from service.core.replies.tokens import Token, fold, shortened, tokens

Meanings = dict[str, str]

GOOD_KINDS = frozenset({"good", "goodrest", "fixed", "fixes", "fix", "all", "rest", "both", "loaner", "benign", "they"})
_FUZZY_KINDS = frozenset(
    {"except", "hedge", "later", "notyet", "late", "faults", "parts", "bad", "dead", "notok", "away", "gone", "not",
     "swallow", "cell", "missed", "sides", "still", "past", "but", "devices"}
)  # fmt: skip
_TROUBLE_KINDS = _FUZZY_KINDS | {"no", "question", "notyet", "mouthed"}
_SHORTEST_PART = 4
_SHORTEST_FUZZY = 5
_SHORTEST_FILLER = 6
_SHORTEST_CELL = 5
_SHORTEST_TROUBLE = 3
_LONGEST_REPAIRED = 20


@dataclass(frozen=True)
class Stems:
    """Parts of words to find in a text without spaces; any three letters of one must be there to look closer."""

    trigrams: frozenset[str]
    pattern: re.Pattern[str]

    def found(self, text: str, trigrams: set[str]) -> bool:
        """Whether a stem, or a long one with one slip, is in `text`, whose letters by threes are `trigrams`."""
        return not self.trigrams.isdisjoint(trigrams) and bool(self.pattern.search(text))


@dataclass(frozen=True)
class Words:
    """Word lists of one or more languages. `widths` maps a first word to the lengths of its phrases, longest first."""

    phrases: Mapping[tuple[str, ...], Meanings]
    widths: Mapping[str, tuple[int, ...]]
    known: frozenset[str]
    near: Mapping[str, tuple[str, ...]]
    near_filler: Mapping[str, tuple[str, ...]]
    kinds_of_code: Mapping[str, tuple[str, ...]]
    cells: frozenset[str]
    stems: Mapping[str, Stems]
    near_mouths: Mapping[str, tuple[str, ...]]
    near_cells: Mapping[str, tuple[str, ...]]
    near_trouble: Mapping[str, tuple[str, ...]]
    plain: frozenset[str]

    def is_slip_of_mouth(self, word: str) -> bool:
        """Whether `word` is at most one typing error from "mouth", "chewed" and their like."""
        return len(word) < _LONGEST_REPAIRED and _nearest(word, self.near_mouths) is not None

    def is_slip_of_cell(self, word: str) -> bool:
        """Whether `word` is one typing error from "battery", "magnet" and their like."""
        return len(word) < _LONGEST_REPAIRED and _nearest(word, self.near_cells) is not None

    def may_be_trouble(self, word: str) -> bool:
        """Whether an unlisted `word` is too short to tell, or one typing error from any word of trouble or doubt."""
        if word in self.plain:
            return False
        return len(word) < _SHORTEST_PART or len(word) > _LONGEST_REPAIRED or bool(_nearest(word, self.near_trouble))

    def repaired(self, word: str) -> str:
        """`word`, or the listed word it stands for: letter runs cut, one typing error towards bad news."""
        if word in self.known or not word[:1].isalpha():
            return word
        for short in shortened(word):
            if short in self.known:
                return short
        if len(word) < _SHORTEST_PART or len(word) > _LONGEST_REPAIRED:
            return word
        return _nearest(word, self.near) or _nearest(word, self.near_filler) or word


def default_words(
    languages: Sequence[str] = ("en", "es", "fr"), extra: Mapping[str, FaultText] | None = None
) -> Words:
    """The shipped lists of `languages` and a district's own words (`extra`, by fault code).

    Raises FileNotFoundError for a language without a list.
    """
    extra = extra or {}
    own = tuple((code, tuple(text.words), tuple(text.devices or ())) for code, text in sorted(extra.items()))
    return _built(tuple(languages), own)


@lru_cache(maxsize=16)
def _built(languages: tuple[str, ...], own: tuple[tuple[str, tuple[str, ...], tuple[str, ...]], ...]) -> Words:
    meanings: dict[tuple[str, ...], Meanings] = {}
    plain: set[str] = set()
    stems: dict[str, set[str]] = {"swallow": {"swallow"}, "mouth": {"mouth"}, "cell": {"batter"}}
    for language in languages:
        document = _load(language)
        for name, listed in _stems_of(document):
            stems.setdefault(name, set()).update(listed)
        plain.update(str(document.pop("plain", "")).split())
        for kind, value, phrase in _entries(document):
            meanings.setdefault(phrase, {}).setdefault(kind, value)
    for code, phrases, _ in own:
        for own_phrase in (code.casefold(), *phrases):
            meanings.setdefault(_split(own_phrase), {})["faults"] = code
    widths: dict[str, set[int]] = {}
    for phrase in meanings:
        widths.setdefault(phrase[0], set()).add(len(phrase))
    return Words(
        phrases=meanings,
        widths={word: tuple(sorted(found, reverse=True)) for word, found in widths.items()},
        known=frozenset(word for phrase in meanings for word in phrase) | plain,
        near=_near_bad(meanings),
        near_filler=_neighbours(
            {w for p, m in meanings.items() if "filler" in m for w in p if len(w) >= _SHORTEST_FILLER}
        ),
        kinds_of_code={code: devices for code, _, devices in own if devices},
        cells=frozenset(p[0] for p, m in meanings.items() if "cell" in m and len(p) == 1),
        near_mouths=_neighbours(_mouths(meanings)),
        plain=frozenset(plain),
        near_trouble=_neighbours(
            {w for p, m in meanings.items() if _TROUBLE_KINDS & m.keys() for w in p if len(w) >= _SHORTEST_TROUBLE}
        ),
        near_cells=_neighbours({p[0] for p, m in meanings.items() if "cell" in m and len(p[0]) >= _SHORTEST_CELL}),
        stems={name: _stems(listed) for name, listed in stems.items()},
    )


def _load(language: str) -> dict[str, object]:
    source = resources.files("service.core.replies").joinpath("words", f"{language}.toml")
    return tomllib.loads(source.read_text(encoding="utf-8"))


def _stems_of(document: dict[str, object]) -> list[tuple[str, list[str]]]:
    found = document.pop("stems", {})
    return [(name, list(listed)) for name, listed in found.items()] if isinstance(found, dict) else []


def _stems(listed: set[str]) -> Stems:
    return Stems(frozenset(three for stem in listed for three in trigrams(stem)), _one_off(listed))


def _one_off(stems: set[str]) -> re.Pattern[str]:
    """A pattern for the stems; of those with seven letters or more, also with one letter wrong, left out or doubled."""
    forms = set()
    for stem in stems:
        forms.add(re.escape(stem))
        for i in range(len(stem)) if len(stem) >= _LONG_STEM else ():
            head, tail = stem[:i], stem[i + 1 :]
            swapped = head + tail[:1] + stem[i] + tail[1:]
            forms |= {head + "." + tail, head + tail, head + stem[i] * 2 + tail, swapped}
    return re.compile("|".join(sorted(forms)))


def trigrams(text: str) -> set[str]:
    """Every three letters in a row of `text`."""
    return {text[i : i + 3] for i in range(len(text) - 2)}


_LONG_STEM = 7


def _split(phrase: str) -> tuple[str, ...]:
    return tuple(token.word for token in tokens(phrase))


def _entries(document: Mapping[str, object]) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    for kind, content in document.items():
        if isinstance(content, str):
            listed: Mapping[str, object] = {"": [w.replace("-", " ") for w in content.split()]}
        else:
            listed = content if isinstance(content, dict) else {"": content}
        for value, phrases in listed.items():
            for phrase in phrases if isinstance(phrases, list) else ():
                words = _split(fold(str(phrase)))
                if words:
                    yield kind, value, words


def _mouths(meanings: Mapping[tuple[str, ...], Meanings]) -> set[str]:
    """The last words of what is said of a mouth or nose, but not the cell that is in it."""
    last = {p[-1] for p, m in meanings.items() if {"swallow", "mouthed"} & m.keys()}
    return {w for w in last if len(w) >= _SHORTEST_PART and "cell" not in meanings.get((w,), {})}


def _near_bad(meanings: Mapping[tuple[str, ...], Meanings]) -> dict[str, tuple[str, ...]]:
    good = {word for phrase, meaning in meanings.items() if GOOD_KINDS & meaning.keys() for word in phrase}
    wanted = set()
    for phrase, meaning in meanings.items():
        if not _FUZZY_KINDS & meaning.keys():
            continue
        shortest = _SHORTEST_PART if "parts" in meaning else _SHORTEST_FUZZY
        wanted |= {word for word in phrase if len(word) >= shortest and word.isalpha()}
    return _neighbours(wanted - (good - _PARTS_HEARD_IN_REMEDIES))


_PARTS_HEARD_IN_REMEDIES = frozenset(
    {"battery", "batteries", "mould", "cable", "program", "volume", "charge", "magnet", "magnets"}
)


def _neighbours(words: set[str]) -> dict[str, tuple[str, ...]]:
    """Every word with one letter left out, and itself, to the listed words it may come from."""
    found: dict[str, list[str]] = {}
    for word in sorted(words):
        for form in {word, *_shorter(word)}:
            found.setdefault(form, []).append(word)
    return {form: tuple(listed) for form, listed in found.items()}


def _shorter(word: str) -> list[str]:
    return [word[:i] + word[i + 1 :] for i in range(len(word))]


def _nearest(word: str, near: Mapping[str, tuple[str, ...]]) -> str | None:
    for form in (word, *_shorter(word)):
        for listed in near.get(form, ()):
            if is_one_edit(word, listed):
                return listed
    return None


def is_one_edit(one: str, two: str) -> bool:
    """Whether the two differ by one letter more, less or other, or by two neighbours swapped."""
    if abs(len(one) - len(two)) > 1:
        return False
    start = 0
    while start < min(len(one), len(two)) and one[start] == two[start]:
        start += 1
    rest_one, rest_two = one[start:], two[start:]
    if len(one) != len(two):
        longer, shorter = (rest_one, rest_two) if len(one) > len(two) else (rest_two, rest_one)
        return longer[1:] == shorter
    return rest_one[1:] == rest_two[1:] or (
        rest_one[:2] == rest_two[:2][::-1] and rest_one[2:] == rest_two[2:]
    )


__all__ = ["Meanings", "Token", "Words", "default_words", "is_one_edit"]
