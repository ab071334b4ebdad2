"""`bellcheck hold`: keep a student's records from being forgotten, while a hold or a request lasts."""

from argparse import ArgumentParser, Namespace

from service.engine import holds
from service.engine.holds import INSPECTION, LEGAL
from service.verbs.desks import by_option, desk_open, who
from service.verbs.folders import json_option
from service.verbs.speaking import DONE, PROBLEMS, CannotRun, Out


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    parser.add_argument("student", metavar="STUDENT", nargs="?", help="id of the student; without one, all are listed")
    parser.add_argument("--reason", metavar="WORDS", help="why the records are held")
    parser.add_argument("--inspection", action="store_true", help="it is a request to inspect the records")
    parser.add_argument("--release", action="store_true", help="it is over")
    by_option(parser)
    json_option(parser)


def run(args: Namespace, out: Out) -> int:
    """Hold, release or list; exit code 1 where there was nothing to release."""
    why = INSPECTION if args.inspection else LEGAL
    if args.student and not args.release and not args.reason:
        raise CannotRun("say why with --reason, or --release what is over")
    with desk_open() as desk:
        released = True
        if args.student and args.release:
            released = holds.release(desk, args.student, why, who(args.by))
        elif args.student:
            holds.hold(desk, args.student, why, args.reason, who(args.by))
        with desk.glance() as m:
            found = holds.of(m.tx)
    heads = ("student", "why", "since", "by", "reason")
    listed = [(h.student, h.why, f"{h.since:%Y-%m-%d}", h.by, h.reason) for h in found]
    if args.json:
        out.json([dict(zip(heads, row, strict=True)) for row in listed])
    elif listed:
        out.table(heads, listed)
    else:
        out.line("Nothing is held.")
    if not released:
        out.wrong(f"there is no {why} on {args.student}")
    return DONE if released else PROBLEMS
