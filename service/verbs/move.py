"""`bellcheck move --to URL`: move everything to another database, SQLite or PostgreSQL, proved on both sides."""

import time
from argparse import ArgumentParser, Namespace
from collections.abc import Iterator
from contextlib import contextmanager

from service.engine import moving
from service.engine.clock import RealClock
from service.engine.desk import Desk
from service.engine.moving import CannotMove, Moved
from service.settings import Settings
from service.store.base import Store
from service.store.journal import Journal
from service.verbs.backup import database_file
from service.verbs.desks import by_option, settings, who
from service.verbs.folders import json_option
from service.verbs.speaking import DONE, CannotRun, Out
from service.wiring import make_room

TELL_EVERY = 2.0
"""Seconds between two lines of progress."""


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    parser.add_argument("--to", metavar="URL", required=True, help="an empty database, written as in BELLCHECK_DB")
    by_option(parser)
    json_option(parser)


def run(args: Namespace, out: Out) -> int:
    """Move, prove, and say what to do next. The database that was moved stays as it is, and is held."""
    given = settings()
    with _source(given) as desk, _target(args.to) as to:
        try:
            moved = moving.move(desk, to, who(args.by), _Progress(out, quiet=args.json))
        except CannotMove as reason:
            raise CannotRun(reason) from None
        here, there = desk.store.place, to.place
    if args.json:
        out.json({"from": here, "to": there, "rows": moved.rows, **_proved(moved)})
        return DONE
    proved = moved.verdict
    out.line(f"Moved {moved.rows} rows from {here} to {there}, read back and the same.")
    out.line(
        f"The record proves alike on both: {proved.entries} entries in {proved.streams} streams, "
        f"{len(proved.bad)} broken, {len(proved.wrong) + proved.more} differences."
    )
    if proved.head:
        out.line(f"Head {proved.head}")
    out.line(f"Now put BELLCHECK_DB={args.to if '@' not in args.to else there} in place and start the service.")
    out.line(f"{here} is held and kept; once the service is well, put it away with the backups.")
    return DONE


def _proved(moved: Moved) -> dict[str, object]:
    proved = moved.verdict
    return {
        "streams": proved.streams,
        "entries": proved.entries,
        "broken": len(proved.bad),
        "differences": len(proved.wrong) + proved.more,
        "kept": str(proved.head) if proved.head else None,
    }


@contextmanager
def _source(given: Settings) -> Iterator[Desk]:
    """The desk over the database as it is; nothing is brought up to this version."""
    file = database_file(given)
    if file is not None and not file.is_file():
        raise CannotRun(f"there is no database at {file}; name it in BELLCHECK_DB")
    store = Store(given.database)
    try:
        yield Desk(store, RealClock(), Journal(given.key), given.key, "move")
    finally:
        store.close()


@contextmanager
def _target(url: str) -> Iterator[Store]:
    store = Store(url)
    try:
        if store.in_memory:
            raise CannotRun("a database in memory would be gone afterwards; name a file")
        make_room(store)
        yield store
    finally:
        store.close()


class _Progress:
    """Says every few seconds how far it is, on standard error, so that what is moved can be piped."""

    def __init__(self, out: Out, *, quiet: bool) -> None:
        self._out, self._quiet = out, quiet
        self._said = time.monotonic()

    def __call__(self, what: str, done: int, total: int) -> None:
        now = time.monotonic()
        if not self._quiet and now - self._said >= TELL_EVERY:
            self._out.wrong(f"{what}: {done} of {total}")
            self._said = now
