"""`bellcheck demo-year`: a school year of an invented district, lived through the engine into a folder."""

from argparse import ArgumentParser, Namespace
from datetime import date
from pathlib import Path

from service.demo.year.calendar import last_over
from service.demo.year.folder import CONFIG, SECRETS, NotEmpty, live
from service.demo.year.nature import Nature
from service.demo.year.troubles import PLANTED
from service.engine.clock import wall_now
from service.verbs.speaking import DONE, CannotRun, Out, a_date


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    parser.add_argument("--out", type=Path, required=True, metavar="FOLDER", help="an empty folder, or none yet")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="another year of the same kind; default 1")
    parser.add_argument("--autumn", type=int, metavar="YEAR", help="it begins in this year; default: the last over")
    parser.add_argument("--from", dest="first", type=a_date, metavar="D", help="live only from here on")
    parser.add_argument("--to", dest="last", type=a_date, metavar="D", help="and until here")
    parser.add_argument("--clean", action="store_true", help="plant no troubles")


def run(args: Namespace, out: Out) -> int:
    """Live it, and say how to look at it."""
    today = wall_now().date()
    nature = Nature(args.seed, args.autumn or last_over(today), () if args.clean else PLANTED)
    first, last = args.first or nature.year.first, args.last or nature.year.last
    _judge(nature, first, last, today)

    def say(line: str) -> None:
        out.line(line)
        out.flush()

    try:
        live(args.out, nature, first, last, say)
    except (NotEmpty, OSError) as error:
        raise CannotRun(f"--out {args.out}: {error}") from None
    out.line(f"wrote {args.out}; look at it with BELLCHECK_SECRETS={args.out / SECRETS} and the folder's {CONFIG}, as")
    out.line(f"  BELLCHECK_SECRETS={args.out / SECRETS} bellcheck report --from {first} --to {last}")
    return DONE


def _judge(nature: Nature, first: date, last: date, today: date) -> None:
    year = nature.year
    if not year.first <= first <= last <= year.last:
        raise CannotRun(
            f"--from {first} --to {last}: the year runs from {year.first} to {year.last}; give dates within it, "
            "the earlier one first, or another --autumn"
        )
    if last >= today:
        raise CannotRun(f"--to {last}: that day is not over, and no record runs ahead of the clock; give one before")
