"""`bellcheck verify`: prove the seals of the journal, stream by stream."""

from argparse import ArgumentParser, Namespace

from service.verbs.desks import desk_open
from service.verbs.folders import json_option
from service.verbs.speaking import DONE, PROBLEMS, Out


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    json_option(parser)


def run(args: Namespace, out: Out) -> int:
    """Verify every stream; exit code 1 and the first bad entry where a seal is broken."""
    with desk_open() as desk, desk.glance() as m:
        streams = desk.journal.streams(m.tx)
        broken = {s: n for s in streams if (n := desk.journal.verify(m.tx, s)) is not None}
        head = desk.journal.head(m.tx)
    if args.json:
        out.json({"streams": len(streams), "entries": head.entries, "head": head.seal, "broken": broken})
    else:
        out.lines(f"{stream}: entry {n} is not as it was written" for stream, n in sorted(broken.items()))
        out.line(f"{head.entries} entries in {len(streams)} streams, {len(broken)} broken. Head {head.seal}")
    return PROBLEMS if broken else DONE
