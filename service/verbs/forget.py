"""`bellcheck forget`: take out what identifies a student who has left, or whatever is older than some years."""

from argparse import ArgumentParser, Namespace
from collections import Counter

from service.engine import leaving, retention
from service.engine.desk import Desk
from service.engine.forgetting import WHAT, Refused
from service.store.errors import DatabaseBusy
from service.verbs.desks import by_option, desk_open, who
from service.verbs.folders import json_option
from service.verbs.speaking import DONE, PROBLEMS, CannotRun, Out

KEPT = (
    "Results, times and counts stay, and the journal still proves. "
    "Backups made before still hold what was forgotten."
)


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    which = parser.add_mutually_exclusive_group(required=True)
    which.add_argument("--student", metavar="ID", help="a student who has left the district")
    which.add_argument(
        "--before", metavar="YEARS", type=int, nargs="?", const=0,
        help="all that is older than so many years (default: what the folder says under `keep for`)",
    )  # fmt: skip
    parser.add_argument("--yes", action="store_true", help="do it; without this it is only counted")
    by_option(parser)
    json_option(parser)


def run(args: Namespace, out: Out) -> int:
    """Count what would be forgotten, or forget it; exit code 1 and the reason where something stands against it."""
    with desk_open() as desk:
        try:
            done = _done(args, desk)
        except Refused as refused:
            out.json({"refused": str(refused)}) if args.json else out.wrong(refused)
            return PROBLEMS
        swept = not args.yes or _is_swept(desk)
    if args.json:
        out.json({"done": args.yes, "counts": {what: done[what] for what in WHAT}, "swept": swept})
        return DONE
    out.table(("what", "rows"), [(what, done[what]) for what in WHAT])
    if not args.yes:
        out.line("Nothing was changed. Use --yes to do it; it cannot be taken back.")
        return DONE
    out.line(KEPT)
    if not swept:
        out.line("The file may still hold traces: stop the service and run the same once more.")
    return DONE


def _done(args: Namespace, desk: Desk) -> Counter[str]:
    if args.student:
        return leaving.forget(desk, args.student, who(args.by), args.yes)
    with desk.glance() as m:
        years = args.before or m.district.settings.keep_for_years
        today = m.now.date()
    if years < 1:
        raise CannotRun(f"{years} is no number of years; it would be right as 3")
    return retention.forget(desk, retention.cutoff(today, years), who(args.by), args.yes)


def _is_swept(desk: Desk) -> bool:
    try:
        desk.store.compact()
    except DatabaseBusy:
        return False
    return True
