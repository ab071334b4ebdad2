"""The word lists, ready for use: phrases to meanings, and the one typing error that may be forgiven.

A list is a TOML file per language in `words/`: `kind = [phrases]`, or a table `[kind]` of `value = [phrases]`;
`filler` is one block of text (a hyphen joins the words of a phrase), and so are `plain`: words without a meaning
here that are never taken for a slip of another, and `light`: articles, pronouns and auxiliaries that may stand
within any phrase without changing it ("changed his battery" is "changed battery"). `(a|b|)` in a phrase stands
for each of the words between the bars, or none. A phrase may have meanings of several
kinds; what it means in a reply is the grammar's business. All languages listed are heard at once, since
replies mix them.

**Typing errors.** A word nobody listed may stand for a listed one at one edit's distance (a letter more,
less, other, or two swapped) only where the listed word is heard in bad news or a doubt, and in no good
news; so a slip can worsen a reply or leave it unclear, and never better it.
"""

import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

from service.core.district import FaultText
from service.core.replies.lists import Lists, folded
from service.core.replies.near import is_one_edit, nearest, neighbours, shorter
from service.core.replies.patterns import Node
from service.core.replies.tokens import shortened

Meanings = Mapping[str, str]

GOOD_KINDS = frozenset(
    {"good", "goodrest", "fixed", "fixes", "fix", "all", "rest", "both", "loaner", "benign", "they", "all_sounds"}
)
_FUZZY_KINDS = frozenset(
    {"except", "hedge", "later", "notyet", "late", "faults", "parts", "bad", "dead", "notok", "away", "gone", "not",
     "swallow", "cell", "missed", "sides", "still", "past", "but", "devices"}
)  # fmt: skip
_TROUBLE_KINDS = _FUZZY_KINDS | {"no", "question", "notyet", "mouthed"}
# Phrases of these kinds stand only as they are listed.
_WHOLE_KINDS = frozenset(
    {"filler", "given", "sounds", "numbers", "durations", "room", "upto", "greeting", "ack", "within"}
)
_IDLE = frozenset({"filler", "little", "chat", "given"})
_LEAST_WEIGHTY = 2
_SHORTEST_PART = 4
_SHORTEST_FUZZY = 5
_SHORTEST_FILLER = 6
_SHORTEST_CELL = 5
_SHORTEST_TROUBLE = 3
_SHORTEST_GLUED = 4
_LONGEST_REPAIRED = 20
_SHORTEST_SURE = 7


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
    foreign: Mapping[str, frozenset[str]]
    spoken: Mapping[str, frozenset[str]]
    trouble: frozenset[str]
    light: frozenset[str]
    gapped: Mapping[tuple[str, ...], Meanings]
    gapped_widths: Mapping[str, tuple[int, ...]]
    patterns: Node

    def is_slip_of_mouth(self, word: str) -> bool:
        """Whether `word` is at most one typing error from "mouth", "chewed" and their like."""
        return len(word) < _LONGEST_REPAIRED and nearest(word, self.near_mouths) is not None

    def is_slip_of_cell(self, word: str) -> bool:
        """Whether `word` is one typing error from "battery", "magnet" and their like."""
        return len(word) < _LONGEST_REPAIRED and nearest(word, self.near_cells) is not None

    def may_be_trouble(self, word: str) -> bool:
        """Whether an unlisted `word` is too short to tell, or one typing error from any word of trouble or doubt."""
        if word in self.plain:
            return False
        if len(word) < _SHORTEST_PART or len(word) > _LONGEST_REPAIRED or nearest(word, self.near_trouble):
            return True
        cuts = range(_SHORTEST_GLUED, len(word) - 1)
        return any(word[:at] in self.trouble or word[-at:] in self.trouble for at in cuts)

    def repaired(self, word: str) -> str:
        """`word`, or the listed word it stands for: letter runs cut, one typing error towards bad news."""
        if word in self.known or not word[:1].isalpha():
            return word
        for short in shortened(word):
            if short in self.known:
                return short
        if len(word) < _SHORTEST_PART or len(word) > _LONGEST_REPAIRED:
            return word
        if word.endswith("in") and word + "g" in self.known:
            return word + "g"
        bad = nearest(word, self.near)
        if bad or nearest(word, self.near_trouble):
            return bad or self._only_near(word)
        return nearest(word, self.near_filler) or word

    def _only_near(self, word: str) -> str:
        """The one listed word that a long `word` can be a slip of, good or bad; `word` where there are more."""
        near = {listed for form in (word, *shorter(word)) for listed in self.near_trouble.get(form, ())}
        found = {listed for listed in near if is_one_edit(word, listed)}
        return found.pop() if len(found) == 1 and len(word) >= _SHORTEST_SURE else word


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
    lists = Lists()
    for language in languages:
        lists.take(_load(language), language)
    for code, phrases, _ in own:
        for own_phrase in (code.casefold(), *phrases):
            lists.meanings.setdefault(folded(own_phrase), {})["faults"] = code
    meanings, light, heard = lists.meanings, frozenset(lists.light), lists.heard()
    trouble = _heard_as(heard, _TROUBLE_KINDS, _SHORTEST_TROUBLE) - light
    near_mouths = neighbours(_mouths(meanings))
    harmless = {word for word, kinds in heard.items() if kinds <= _IDLE and word not in lists.plain}
    slips = {word for word in harmless if len(word) >= _SHORTEST_CELL and nearest(word, near_mouths)}
    gapped = _gapped(meanings, light)
    return Words(
        phrases=meanings,
        widths=_widths(meanings),
        light=light,
        gapped=gapped,
        gapped_widths=_widths(gapped),
        patterns=lists.patterns,
        known=(frozenset(heard) - slips) | lists.plain | light,
        trouble=frozenset(trouble),
        near=neighbours(_bad_words(heard)),
        near_filler=neighbours(_heard_as(heard, frozenset({"filler"}), _SHORTEST_FILLER)),
        kinds_of_code={code: devices for code, _, devices in own if devices},
        cells=frozenset(p[0] for p, m in meanings.items() if "cell" in m and len(p) == 1),
        near_mouths=near_mouths,
        plain=frozenset(lists.plain),
        foreign={
            word: frozenset(spoken)
            for word, spoken in lists.spoken.items()
            if len(word) <= _SHORTEST_TROUBLE and len(spoken) < len(languages)
        },
        spoken={word: frozenset(spoken) for word, spoken in lists.spoken.items() if len(word) > _SHORTEST_TROUBLE},
        near_trouble=neighbours(trouble),
        near_cells=neighbours({p[0] for p, m in meanings.items() if "cell" in m and len(p[0]) >= _SHORTEST_CELL}),
        stems={name: _stems(listed) for name, listed in lists.stems.items()},
    )


def _heard_as(heard: Mapping[str, set[str]], kinds: frozenset[str], shortest: int) -> set[str]:
    """The words that are heard in phrases of any of `kinds`."""
    return {word for word, found in heard.items() if len(word) >= shortest and not kinds.isdisjoint(found)}


def _widths(phrases: Iterable[tuple[str, ...]]) -> dict[str, tuple[int, ...]]:
    widths: dict[str, set[int]] = {}
    for phrase in phrases:
        widths.setdefault(phrase[0], set()).add(len(phrase))
    return {word: tuple(sorted(found, reverse=True)) for word, found in widths.items()}


def _gapped(
    meanings: Mapping[tuple[str, ...], Meanings], light: frozenset[str]
) -> dict[tuple[str, ...], dict[str, str]]:
    """Phrases without the light words that stand within them; one that is listed so itself comes first."""
    found: dict[tuple[str, ...], dict[str, str]] = {}
    for phrase, means in meanings.items():
        heavy = sum(word not in light for word in phrase)
        if heavy < _LEAST_WEIGHTY or phrase[-1] in light or not _WHOLE_KINDS.isdisjoint(means):
            continue
        weighty = (phrase[0], *(word for word in phrase[1:] if word not in light))
        if weighty == phrase:
            found[phrase] = dict(means)
        elif weighty not in meanings:
            found.setdefault(weighty, {}).update({k: v for k, v in means.items() if k not in found[weighty]})
    return found


def _load(language: str) -> dict[str, object]:
    source = resources.files("service.core.replies").joinpath("words", f"{language}.toml")
    return tomllib.loads(source.read_text(encoding="utf-8"))


def _stems(listed: set[str]) -> Stems:
    return Stems(frozenset(three for stem in listed for three in trigrams(stem)), _one_off(listed))


def _one_off(stems: set[str]) -> re.Pattern[str]:
    """A pattern for the stems; of those with seven letters or more, also with one letter wrong, left out or doubled."""
    forms = set()
    for stem in stems:
        forms.add(stem)
        for i in range(len(stem)) if len(stem) >= _LONG_STEM else ():
            head, tail = stem[:i], stem[i + 1 :]
            swapped = head + tail[:1] + stem[i] + tail[1:]
            forms |= {head + "." + tail, head + tail, head + stem[i] * 2 + tail, swapped}
    return re.compile(_branching(forms))


def _branching(forms: Iterable[str]) -> str:
    """The forms as one pattern in which what they begin with is written once: it tries few branches at a place."""
    by_first: dict[str, set[str]] = {}
    for form in forms:
        if not form:
            return ""
        by_first.setdefault(form[0], set()).add(form[1:])
    branches = [first + _branching(rest) for first, rest in sorted(by_first.items())]
    return branches[0] if len(branches) == 1 else f"(?:{'|'.join(branches)})"


def trigrams(text: str) -> set[str]:
    """Every three letters in a row of `text`."""
    return {text[i : i + 3] for i in range(len(text) - 2)}


_LONG_STEM = 7


def _mouths(meanings: Mapping[tuple[str, ...], Meanings]) -> set[str]:
    """The last words of what is said of a mouth or nose, but not the cell that is in it."""
    last = {p[-1] for p, m in meanings.items() if {"swallow", "mouthed"} & m.keys()}
    return {w for w in last if len(w) >= _SHORTEST_PART and "cell" not in meanings.get((w,), {})}


def _bad_words(heard: Mapping[str, set[str]]) -> set[str]:
    """Words heard in bad news or a doubt, and in no good news."""
    parts = _heard_as(heard, frozenset({"parts"}), _SHORTEST_PART)
    wanted = parts | _heard_as(heard, _FUZZY_KINDS, _SHORTEST_FUZZY)
    good = _heard_as(heard, GOOD_KINDS, 1) - _PARTS_HEARD_IN_REMEDIES
    return {word for word in wanted - good if word.isalpha()}


_PARTS_HEARD_IN_REMEDIES = frozenset(
    {"feedback", "whistling", "whistle", "squealing", "squeaking", "buzzing", "crackle", "crackling"}
    | {"battery", "batteries", "mould", "mold", "cable", "program", "volume", "charge", "magnet", "magnets", "tubing"}
    | {"headpiece", "earhook", "earmould", "earmold", "headband", "bateria", "baterias", "batterie", "antenne"}
)

__all__ = ["Meanings", "Words", "default_words"]
