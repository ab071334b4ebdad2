"""A language made of English in wide letters: what stays narrow on a page never went through a catalogue."""

import re
from collections.abc import Callable
from dataclasses import fields, is_dataclass, replace
from enum import Enum
from gettext import NullTranslations
from typing import Any

from languages_texts import texts

LOCALE = "ja"
"""Dates by Babel have no Latin letter in it."""


def wide(text: str) -> str:
    """A text with its letters widened, and placeholders as they were; patterns of dates stay."""
    if not text.strip("EdMy "):
        return text
    parts = _pieces(text)
    return "".join(part if n % 2 else "".join(map(_widened, part)) for n, part in enumerate(parts))


def _pieces(text: str) -> list[str]:
    """A text cut so that every second piece is a placeholder."""
    return re.split(r"(%\(\w+\)s)", text)


def _widened(letter: str) -> str:
    return chr(ord(letter) + 0xFEE0) if letter.isascii() and letter.isalpha() else letter


def widened(value: Any) -> Any:
    """Facts with every word of theirs widened."""
    return reworded(value, wide)


def reworded(value: Any, change: Callable[[str], str]) -> Any:
    """Facts with every word of theirs changed; what the service itself tells apart stays."""
    if isinstance(value, Enum):
        return value
    if isinstance(value, str):
        return change(value)
    if isinstance(value, tuple):
        return tuple(reworded(one, change) for one in value)
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{f.name: reworded(getattr(value, f.name), change) for f in fields(value)})
    return value


class Wide(NullTranslations):
    """Knows what the catalogues are asked to hold, and nothing else."""

    def __init__(self) -> None:
        super().__init__()
        ids = [one.id for one in texts() if one.id]
        self.known = {part for id in ids for part in ([id] if isinstance(id, str) else id)}

    def gettext(self, message: str) -> str:
        return wide(message) if message in self.known else message

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return self.gettext(msgid1 if n == 1 else msgid2)
