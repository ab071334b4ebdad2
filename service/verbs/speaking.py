"""How the command line speaks: lines and JSON to standard output, what is wrong to standard error."""

import argparse
import json
import sys
from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any, TextIO

DONE, PROBLEMS, CANNOT = 0, 1, 2
"""Exit codes: done; ran and found problems; could not run."""


class CannotRun(Exception):
    """The command cannot run; each argument is one plain line."""

    def __init__(self, *lines: object) -> None:
        super().__init__("\n".join(str(line) for line in lines))


class Out:
    """Where a verb writes."""

    def __init__(self, to: TextIO | None = None, wrong: TextIO | None = None) -> None:
        self._to = to or sys.stdout
        self._wrong = wrong or sys.stderr

    def line(self, text: object = "") -> None:
        """One line."""
        self._to.write(f"{text}\n")

    def lines(self, texts: Iterable[object]) -> None:
        """Several lines."""
        for text in texts:
            self.line(text)

    def raw(self, text: str) -> None:
        """Text as it is."""
        self._to.write(text)

    def flush(self) -> None:
        """Let what was written be seen."""
        self._to.flush()

    def json(self, value: Any, indent: int | None = 2) -> None:
        """A JSON value; one line where `indent` is None."""
        self.line(json.dumps(value, ensure_ascii=False, indent=indent))

    def wrong(self, text: object) -> None:
        """Something that is wrong."""
        self._to.flush()
        self._wrong.write(f"{text}\n")
        self._wrong.flush()

    def table(self, heads: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
        """Columns as wide as their widest cell, the last as long as it likes."""
        cells = [list(heads), *[[str(cell) for cell in row] for row in rows]]
        widths = [max(len(row[i]) for row in cells) for i in range(len(heads) - 1)]
        for row in cells:
            padded = [cell.ljust(width) for cell, width in zip(row, widths, strict=False)]
            self.line("  ".join([*padded, row[-1]]).rstrip())

    def asks(self, question: str) -> bool:
        """Ask for a yes; anything else, and no terminal to ask at, is a no."""
        self.raw(f"{question} (yes/no) ")
        self.flush()
        try:
            return sys.stdin.readline().strip().casefold() in ("y", "yes")
        except (OSError, ValueError):
            return False


def a_date(text: str) -> date:
    """A date of the command line, as the parser wants it: what is wrong is said with what would be right."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        wrong = f"{text!r} is no date of the calendar; write a day that there is, as 2026-10-05"
        raise argparse.ArgumentTypeError(wrong) from None
