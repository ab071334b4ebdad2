"""Slips of thumbs, phones and mail programs: what a reply may look like when it arrives."""

import random
from collections.abc import Callable

_ROWS = ("qwertyuiop", "asdfghjkl", "zxcvbnm")
NEAR = {c: row[max(0, i - 1) : i] + row[i + 1 : i + 2] for row in _ROWS for i, c in enumerate(row)}
MARKS = ("😊", "🎉", "\u200b", "\u200d", "\ufeff", "\u200f", "\u200e", "\u202b", "\u202c", "\u2060", "\u00ad", " ")
SMART = str.maketrans({"'": "\u2019", "-": "\u2014", '"': "\u201c", ".": "\u2026"})
# What phones make of our codes and of the trade's words. From memory.
CORRECTED = {
    "bat": ("bar", "bag", "bay", "bats"), "batt": ("bath", "bait"), "coil": ("cool", "coils", "soil"),
    "cable": ("table", "cables"), "mould": ("would", "could", "moulds"), "mold": ("mild", "hold", "told"),
    "hook": ("book", "look"), "link": ("like", "line", "pink"), "mic": ("mix", "nic"), "sore": ("more", "some"),
    "wet": ("were", "get"), "lost": ("list", "last", "most"), "band": ("hand", "and"), "flat": ("that", "float"),
    "dead": ("dear", "read", "deaf"), "loose": ("lose", "goose"), "not": ("now", "nor", "note", "hot"), "no": ("on",),
    "but": ("by", "bus", "put"), "except": ("accept", "expect"), "ish": ("is", "wish"), "swap": ("swan", "snap"),
    "missed": ("mixed", "kissed"), "except.": ("accept",), "power": ("lower", "tower"), "whistle": ("thistle",),
    "broken": ("spoken", "token"), "isnt": ("ist", "inst"), "isn't": ("is it", "ist"), "sauf": ("sauce",),
    "pas": ("par",), "menos": ("meses",),
    "roto": ("rojo", "todo"), "pila": ("pida", "fila"), "pile": ("pole", "file"),
}  # fmt: skip


def _spot(text: str, rng: random.Random) -> int:
    spots = [i for i, c in enumerate(text) if c.isalpha()]
    return rng.choice(spots) if spots else len(text)


def _near(text: str, rng: random.Random) -> str:
    at = _spot(text, rng)
    return text[:at] + rng.choice(NEAR.get(text[at : at + 1].lower()) or " ") + text[at + 1 :]


def _doubled(text: str, rng: random.Random) -> str:
    at = _spot(text, rng)
    return text[: at + 1] + text[at : at + 1] + text[at + 1 :]


def _dropped(text: str, rng: random.Random) -> str:
    at = _spot(text, rng)
    return text[:at] + text[at + 1 :]


def _swapped(text: str, rng: random.Random) -> str:
    at = _spot(text, rng)
    two = text[at : at + 2]
    return text[:at] + two[::-1] + text[at + 2 :] if two.isalpha() else text


def _corrected(text: str, rng: random.Random) -> str:
    words = text.split(" ")
    known = [i for i, word in enumerate(words) if word.lower() in CORRECTED]
    if not known:
        return _near(text, rng)
    at = rng.choice(known)
    words[at] = rng.choice(CORRECTED[words[at].lower()])
    return " ".join(words)


def _unspaced(text: str, rng: random.Random) -> str:
    gaps = [i for i, c in enumerate(text) if c == " "]
    if not gaps or rng.random() < 0.3:
        return text.replace(" ", "")
    at = rng.choice(gaps)
    return text[:at] + text[at + 1 :]


def _marked(text: str, rng: random.Random) -> str:
    at = rng.randrange(len(text) + 1)
    return text[:at] + rng.choice(MARKS) + text[at:]


def _dressed(text: str, rng: random.Random) -> str:
    return text.upper() if rng.random() < 0.5 else text.translate(SMART)


SLIPS: tuple[Callable[[str, random.Random], str], ...] = (
    _near, _near, _doubled, _dropped, _dropped, _swapped, _corrected, _unspaced, _marked, _dressed,
)  # fmt: skip


def slip(text: str, rng: random.Random) -> str:
    """`text` with one slip of any kind."""
    return rng.choice(SLIPS)(text, rng)
