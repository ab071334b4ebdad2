"""`bellcheck new DIR`: a commented starter that passes its own check."""

from argparse import ArgumentParser, Namespace
from pathlib import Path

from service.engine.clock import wall_now
from service.setup import new
from service.verbs.speaking import DONE, CannotRun, Out

SCHOOL_YEAR_BEGINS = 7
"""From July on a new folder is for the year that begins this calendar year."""


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    parser.add_argument("folder", metavar="DIR", type=Path, help="a folder that is empty or not there yet")


def run(args: Namespace, out: Out) -> int:
    """Write the starter."""
    today = wall_now()
    year = today.year if today.month >= SCHOOL_YEAR_BEGINS else today.year - 1
    try:
        written = new(args.folder, year)
    except OSError as error:
        raise CannotRun(_reason(error)) from None
    out.lines(f"wrote {path}" for path in written)
    out.line(f"Next: put your own schools and people in, then run `bellcheck check-config {args.folder}`.")
    return DONE


def _reason(error: OSError) -> str:
    return f"{error.filename} cannot be written ({error.strerror})" if error.strerror else str(error)
