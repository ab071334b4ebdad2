"""The sounds of a listening check that a reply names: after "missed", before it, or after "no" and "except"."""

import re

from service.core.replies.item import Item

_SIX_WORDS = re.compile(r"\b(?:six|6|seis)\b")
SIX = ("m", "oo", "ah", "ee", "sh", "s")
_WEAK_SOUNDS = frozenset({"a", "e", "u", "she", "see", "ash", "n", "h", "j", "ou", "ea", "em", "m", "z"})


def sounds_after(read: list[Item], at: int, strict: bool) -> tuple[list[str], int]:
    """The sounds named after the word at `at`, and where the words that name them end.

    `strict` is false after a plain "no" or "except", where a single letter may be no sound at all.
    """
    found: list[str] = []
    at += 1
    while at < len(read):
        after = read[at]
        value = _sound(after, bool(found), strict)
        if value:
            found.append(value)
        elif strict and not found and after.can("nothing"):
            found.extend(SIX)
        elif not _is_between(read, at, strict):
            break
        at += 1
    return found, at


def others_than(heard: list[str]) -> list[str]:
    """The sounds of the six that were missed where only `heard` were heard."""
    return [sound for sound in SIX if sound not in heard]


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
