"""`bellcheck verify`: prove that the journal is as it was written, and that the tables say what it says."""

from argparse import ArgumentParser, Namespace

from service.engine import proving
from service.engine.proving import Verdict
from service.verbs.desks import desk_open
from service.verbs.folders import json_option
from service.verbs.speaking import DONE, PROBLEMS, CannotRun, Out, a_date


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    parser.add_argument("--head", metavar="HEAD", help="a head kept elsewhere: is all that it covers still there?")
    parser.add_argument("--school", metavar="SCHOOL", help="only this school")
    parser.add_argument("--date", metavar="DATE", type=a_date, help="only this day")
    json_option(parser)


def run(args: Namespace, out: Out) -> int:
    """Prove all, or one day; exit code 1, the first bad entries and every difference where it is not sound."""
    some = args.school or args.date
    if some and args.head:
        raise CannotRun("--head is about the whole journal; leave out --school and --date")
    with desk_open(moved_too=True) as desk, desk.glance() as m:
        verdict = proving.prove_some(m, args.school, args.date) if some else proving.prove_all(m, args.head)
        whole = desk.journal.head(m.tx)
    out.json(_plain(verdict) | {"head": whole.seal}) if args.json else _show(verdict, args.head, out)
    return DONE if verdict.is_sound else PROBLEMS


def _show(verdict: Verdict, kept: str | None, out: Out) -> None:
    out.lines(verdict.bad)
    out.lines(f"{stream}: {difference}" if stream else difference for stream, difference in verdict.wrong)
    if verdict.more:
        out.line(f"and {verdict.more} more")
    wrong = len(verdict.wrong) + verdict.more
    out.line(
        f"{verdict.entries} entries in {verdict.streams} streams: {len(verdict.bad)} broken, "
        f"{wrong} differences between journal and tables."
    )
    if verdict.forgotten:
        out.line(f"{verdict.forgotten} personal values are forgotten.")
    if verdict.unknown:
        out.line(f"{verdict.unknown} rows are of an earlier version that told the journal less: not known.")
    if kept and verdict.is_sound:
        out.line(f"All that head {kept.partition('-')[0]} covers still stands as it stood then.")
    if verdict.head:
        out.line(f"Head {verdict.head}  ({verdict.beyond} entries since)")


def _plain(verdict: Verdict) -> dict[str, object]:
    return {
        "streams": verdict.streams,
        "entries": verdict.entries,
        "broken": [{"stream": b.stream, "entry": b.n, "what": b.what} for b in verdict.bad],
        "differences": [
            {"stream": s or None, "row": d.row, "entry": d.n, "what": d.what} for s, d in verdict.wrong
        ],
        "more": verdict.more,
        "forgotten": verdict.forgotten,
        "unknown": verdict.unknown,
        "kept": str(verdict.head) if verdict.head else None,
        "beyond": verdict.beyond,
    }
