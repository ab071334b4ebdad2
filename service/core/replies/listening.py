"""Answers to a listening check: the sounds that a reply names, "all" of them, and the silences that were answered.

Sounds stand after "missed", before it, or after "no" and "except". A bare "all" is as good as "all sounds" only
where it can be meant of nothing else: as the answer about the one student asked about, or right behind a student's
name, number or side, or behind "rest". Of a round of several, "all" alone may as well be the beginning of "all
away", so it is asked about (the asymmetric rule). That a silence was answered settles nothing by itself.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from service.core.district import Side
from service.core.reading import Asked, Audience, Fault, HeardOn, Listened, Outcome, Result
from service.core.replies.item import Item
from service.core.replies.segment import Segment
from service.core.sounds import SIX

_SIX_WORDS = re.compile(r"\b(?:six|6|seis)\b")
_WEAK_SOUNDS = frozenset({"a", "e", "u", "she", "see", "ash", "n", "h", "j", "ou", "ea", "em", "m", "z"})


_ENDS = frozenset({"", "hard", "soft", "and", "silence", "noticed"})


def sounds_of(asked: Asked) -> tuple[str, ...]:
    """All sounds that the students of a round are asked about, each once; the six where none are."""
    return tuple(dict.fromkeys(sound for student in asked.students for sound in student.sounds)) or SIX


def take_all(read: list[Item], asked: Asked) -> None:
    """Let a bare "all" be the good news it is where it answers the listening check of a student."""
    for at, item in enumerate(read):
        if item.role == "all_sounds" or (item.role == "good" and item.can("all_sounds")):
            item.role = "hedge" if _names_sounds(read, at) else "good"
    sounds = {student.number: student.sounds for student in asked.students}
    if asked.audience is Audience.CONTACT or not all(sounds.values()):
        return
    for at, item in enumerate(read):
        if item.role == "all" and item.can("all_sounds") and _is_answer(read, at, alone=len(sounds) == 1):
            item.role = "good"


def _names_sounds(read: list[Item], at: int) -> bool:
    """Whether sounds are named in the same breath after "all", and nothing says what of them: "all by m" is a slip."""
    for item in read[at + 1 :]:
        if item.role in _BREAKS or item.can("missed"):
            return False
        if _sound(item, False, True):
            return True
    return False


_BREAKS = frozenset({"hard", "soft", "query", "and", "number", "name", "but", "except", "noticed", "silence"})


def _is_answer(read: list[Item], at: int, *, alone: bool) -> bool:
    after = read[at + 1].role if at + 1 < len(read) else ""
    place, sided = at - 1, False
    while place >= 0 and (read[place].role == "sides" or read[place].text in (":", "-")):
        sided = sided or read[place].role == "sides"
        place -= 1
    before = read[place].role if place >= 0 else ""
    named = before in ("number", "name", "rest") or (sided and before in (*_ENDS, "sounds", "good"))
    if named:
        return after in (*_ENDS, "number", "name") or (sided and after == "sides")
    return alone and before in _ENDS and after in _ENDS


def part_answers(read: list[Item], asked: Asked) -> list[Item]:
    """"1 all 2 all" with a mark between the answers, so that no number is taken for how many "all" are."""
    numbers = {student.number for student in asked.students}
    parted: list[Item] = []
    for at, item in enumerate(read):
        if item.number in numbers and at > 1 and read[at - 1].role == "all" and read[at - 2].number in numbers:
            opens = read[at - 3] if at > 2 else Item("")
            if opens.role in _OPENS and opens.text not in (":", "."):
                parted.append(Item("soft", ",", ","))
        parted.append(item)
    return parted


_OPENS = frozenset({"", "hard", "soft", "and", "sounds", "all", "good", "away"})


def says_all(segment: Segment) -> bool:
    """Whether the good word of a breath is about the sounds themselves."""
    return any(item.role == "good" and item.can("all_sounds") for item in segment.said)


def is_of_silence(segment: Segment) -> bool:
    """Whether a breath says that silences were answered, and nothing else."""
    turned = segment.hazards or segment.unknown or segment.asked or segment.nots
    return bool(segment.false) and not (segment.said or turned)


def own_sounds(named: Sequence[str], own: Sequence[str]) -> tuple[str, ...]:
    """The sounds that were named, those of the student's own set alone, low to high; all of them where none is."""
    return tuple(sound for sound in own if sound in named) or tuple(dict.fromkeys(named))


def listened(
    outcome: Outcome,
    heard: Sequence[HeardOn],
    missed: Mapping[Side | None, Sequence[str]],
    false: int,
    own: Sequence[str],
) -> Outcome:
    """The outcome with what was said of the sounds: where all were `heard`, and what was `missed` on which side."""
    if outcome.result is Result.FAULT:
        told = [_with_missed(fault, missed, own) for fault in outcome.faults if fault.code == "SOUND"]
        sides = [one for one in told if one.missed]
        taken = {one.side for one in sides}
        sides += [one for one in heard if sides and one.side not in taken and None not in (one.side, *taken)]
    else:
        sides = list(heard) if outcome.result is Result.WORKING else []
    if outcome.result not in (Result.FAULT, Result.WORKING) or not (sides or false):
        return outcome
    return replace(outcome, listened=Listened(tuple(sorted(sides, key=lambda one: one.side or "")), false))


def _with_missed(fault: Fault, missed: Mapping[Side | None, Sequence[str]], own: Sequence[str]) -> HeardOn:
    named = missed.get(fault.side) or missed.get(None) or ()
    return HeardOn(fault.side, own_sounds(named, own) if named else ())


def sounds_after(read: list[Item], at: int, strict: bool, every: Sequence[str]) -> tuple[list[str], int]:
    """The sounds named after the word at `at`, and where the words that name them end.

    `strict` is false after a plain "no" or "except", where a single letter may be no sound at all; `every` is what
    "missed all" names.
    """
    found: list[str] = []
    at += 1
    while at < len(read):
        after = read[at]
        value = _sound(after, bool(found), strict)
        if value:
            found.append(value)
        elif strict and not found and after.can("nothing"):
            found.extend(every)
        elif not _is_between(read, at, strict):
            break
        at += 1
    return found, at


def others_than(heard: list[str], every: Sequence[str]) -> list[str]:
    """The sounds of all that were missed where only `heard` were heard."""
    return [sound for sound in every if sound not in heard]


def sounds_before(read: list[Item], at: int) -> list[str]:
    """The sounds right before the word at `at` ("s and sh missed")."""
    found: list[str] = []
    at -= 1
    while at >= 0 and (read[at].role in ("and", "soft") or _sound(read[at], True, True)):
        value = _sound(read[at], True, True)
        found += [value] if value else []
        at -= 1
    return found


def has_listened(read: list[Item], at: int) -> bool:
    """Whether the words shortly before speak of a listening check."""
    heard = read[max(0, at - 12) : at]
    return any(item.role == "score" or "heard" in item.means or _SIX_WORDS.search(item.text) for item in heard)


def _is_between(read: list[Item], at: int, strict: bool) -> bool:
    item = read[at]
    if item.role == "soft":
        return _sound_follows(read, at, strict)
    return item.role in _BETWEEN or item.text in ("or", "the", "sound", "sounds")


_BETWEEN = frozenset({"and", "filler", "not", "no", "heard"})


def _sound(item: Item, others: bool, strict: bool) -> str:
    if not item.can("sounds"):
        return ""
    value = item.means["sounds"]
    if item.text in ("a", "e", "u", "n", "see", "ea", "ou"):
        return ""
    if value == "she":
        return "sh" if others else ""
    return value if strict or item.text not in _WEAK_SOUNDS or others else ""


def _sound_follows(read: list[Item], at: int, strict: bool) -> bool:
    return at + 1 < len(read) and bool(_sound(read[at + 1], True, strict))
