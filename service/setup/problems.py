"""What is wrong in a configuration folder, said so that the person who wrote it can put it right."""

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Literal

Gravity = Literal["error", "warning"]


@dataclass(frozen=True, order=True)
class Problem:
    """One thing to look at: where it stands, what is wrong and what would be right.

    `line` counts from 1. An error keeps the folder from being used; a warning does not.
    """

    file: str
    line: int
    severity: Gravity
    wrong: str
    right: str

    def __str__(self) -> str:
        mark = "warning: " if self.severity == "warning" else ""
        return f"{self.file}:{self.line}: {mark}{self.wrong}; {self.right}"


class UnreadableError(ValueError):
    """A value that cannot be taken: `wrong` says why, `right` what would do."""

    def __init__(self, wrong: str, right: str) -> None:
        super().__init__(f"{wrong}; {right}")
        self.wrong = wrong
        self.right = right


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word most like `word`, or None where none is like it."""
    by_folded = {k.casefold(): k for k in known}
    found = get_close_matches(word.casefold(), by_folded, n=1, cutoff=0.55)
    return by_folded[found[0]] if found else None


def suggest(word: str, known: Iterable[str], what: str) -> str:
    """What would be right in place of `word`: the nearest known word, else the first few that there are."""
    names = list(known)
    near = nearest(word, names)
    if near is not None:
        return f"did you mean {near!r}?"
    if not names:
        return f"there is no {what} yet: add one"
    shown = ", ".join(names[:8]) + (", …" if len(names) > 8 else "")
    return f"use one of: {shown}"
