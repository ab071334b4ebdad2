"""`bellcheck export DIR`: the configuration in force, written back as a folder."""

from argparse import ArgumentParser, Namespace
from pathlib import Path

from service.engine.desk import NotSetUp
from service.setup import export
from service.store import configuration
from service.verbs.desks import desk_open
from service.verbs.speaking import DONE, CannotRun, Out


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    parser.add_argument("folder", metavar="DIR", type=Path, help="a folder that is empty or not there yet")


def run(args: Namespace, out: Out) -> int:
    """Write the folder."""
    with desk_open(moved_too=True) as desk, desk.glance() as m:
        documents = configuration.current(m.tx)
    if not documents:
        raise NotSetUp
    try:
        export(documents, args.folder)
    except OSError as error:
        raise CannotRun(error) from None
    out.line(f"wrote {args.folder}")
    return DONE
