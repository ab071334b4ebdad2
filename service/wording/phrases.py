"""Filters for the templates: facts put into words, in the language spoken."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from service.core.reading import Result
from service.languages import N_, dated, phrase
from service.wording.letters import Item, SilentRound
from service.wording.names import fault_word, listed, result_words, role_words, worth_words


@dataclass(frozen=True)
class Group:
    """Students with the same thing recorded, said in one breath."""

    numbers: tuple[str, ...]
    result: Result
    code: str
    side: str
    sounds: str


@dataclass(frozen=True)
class Place:
    """Silent checks of one room, or of one school where there are too many rooms to name; the last line may
    stand for `others` schools.
    """

    where: str
    count: int
    since: str
    others: int = 0


def filters() -> dict[str, Callable[..., object]]:
    """The filters that the templates may use; they speak the language spoken."""
    return {
        "role": role_words,
        "result": result_words,
        "word": fault_word,
        "worth": lambda one: worth_words(one.pattern, one.side),
        "listed": lambda words: listed(tuple(words)),
        "numbered": lambda items: listed([f"{item.number} {item.alias}" for item in items]),
        "grouped": grouped,
        "places": places,
        "sum_items": lambda rounds: sum(len(one.items) for one in rounds),
        "span": span,
        "small": small,
        "capfirst": lambda text: text[:1].upper() + text[1:],
    }


def grouped(items: Iterable[Item]) -> tuple[Group, ...]:
    """Items by what is said of them, in the order of their numbers: "1 and 3 working; 2 cable, left"."""
    groups: dict[tuple[Result, str, str, str], list[str]] = {}
    for item in sorted(items, key=lambda item: item.number):
        what = (item.result or Result.FAULT, item.code, item.side, item.sounds)
        numbers = groups.setdefault(what, [])
        if str(item.number) not in numbers:
            numbers.append(str(item.number))
    return tuple(Group(tuple(numbers), *what) for what, numbers in groups.items())


def places(rounds: Sequence[SilentRound], most: int) -> tuple[Place, ...]:
    """Where it is silent: by room where these are `most` or fewer, else by school."""
    rooms = [Place(f"{one.school}, {one.place}", len(one.items), one.since) for one in rounds]
    if len(rooms) <= most:
        return tuple(rooms)
    ordered = sorted(rounds, key=lambda one: one.school)
    schools = [_together(school, tuple(held)) for school, held in groupby(ordered, lambda one: one.school)]
    if len(schools) <= most:
        return tuple(schools)
    shown, rest = schools[: most - 1], schools[most - 1 :]
    count, since = sum(one.count for one in rest), min(one.since for one in rest)
    return (*shown, Place("", count, since, others=len(rest)))


def span(days: Sequence[date]) -> str:
    """The first and the last of some days: "17 Nov", "17 Nov to 1 Dec"."""
    first, last = (dated(on, N_("d MMM")) for on in (min(days), max(days)))
    return first if first == last else phrase("%(first)s to %(last)s", first=first, last=last)


def small(text: str) -> str:
    """A label inside a sentence: its first letter small, unless it is an abbreviation."""
    return text if text[1:2].isupper() else text[:1].lower() + text[1:]


def _together(school: str, rounds: Sequence[SilentRound]) -> Place:
    return Place(school, sum(len(one.items) for one in rounds), min(one.since for one in rounds))
