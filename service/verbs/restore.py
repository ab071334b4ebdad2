"""`bellcheck restore FILE`: put a backup in place of the SQLite database, proved first and held afterwards."""

import json
from argparse import ArgumentParser, Namespace
from dataclasses import replace
from pathlib import Path

from service.engine import held
from service.engine.clock import wall_now
from service.engine.desk import Desk
from service.engine.proving import prove_all
from service.settings import Settings
from service.store import copies, seals
from service.store.base import Store, serving_lock
from service.verbs.backup import database_file, head_beside
from service.verbs.desks import by_option, desk_open, settings, who
from service.verbs.speaking import DONE, PROBLEMS, CannotRun, Out
from service.wiring import open_desk

NEXT = "Start `bellcheck serve`; it asks and sends nothing until `bellcheck release --send` or `--skip`."


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    parser.add_argument("file", metavar="FILE", type=Path, nargs="?", help="a backup of an SQLite database")
    parser.add_argument("--mark", action="store_true", help="hold a database that another tool has restored")
    parser.add_argument("--yes", action="store_true", help="put it in place of the database that is there")
    by_option(parser)


def run(args: Namespace, out: Out) -> int:
    """Restore and hold; the database that was there is kept beside."""
    if args.mark == (args.file is not None):
        raise CannotRun("give either a backup's FILE, or --mark for a database that pg_restore has restored")
    if args.mark:
        with desk_open() as desk:
            _hold(desk, "restored from a backup", who(args.by))
            out.lines(("The database is held.", NEXT))
        return DONE
    return _restore(settings(), args, out)


def _restore(given: Settings, args: Namespace, out: Out) -> int:
    target = database_file(given)
    if target is None:
        raise CannotRun(
            "this database is on PostgreSQL; restore it with pg_restore, then run `bellcheck restore --mark`"
        )
    if not args.file.is_file():
        raise CannotRun(f"there is no file {args.file}; name a file that `bellcheck backup` wrote")
    there = target.exists()
    if there and not args.yes:
        out.line(f"{target} is there. With --yes it is put aside, and kept, and {args.file} comes in its place.")
        return PROBLEMS
    target.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    store = Store(given.database)
    try:
        with serving_lock(store):
            made = target.with_name(target.name + ".restored")
            compared = _prepare(given, args.file, made, who(args.by))
            aside = copies.put_aside(target, f"replaced-{wall_now():%Y%m%dT%H%M%S}") if there else None
            made.rename(target)
            copies.kept_on_disk(target.absolute().parent)
    finally:
        store.close()
    with desk_open(moved_too=True) as desk:
        held.settle(desk)
    out.line(f"{args.file} is in place at {target}, whole and held.")
    out.line(compared)
    if aside is not None:
        out.line(f"What was there is kept as {aside}.")
    out.line(NEXT)
    return DONE


def _prepare(given: Settings, file: Path, made: Path, by: str) -> str:
    """A copy of the backup that is sound, of this version, proved and held; says what its head was compared with.

    Raises `CannotRun`, `StoreError`.
    """
    copies.copy(file, made)
    desk = open_desk(replace(given, database=f"sqlite:///{made}"))
    try:
        compared = _prove(desk, file)
        _hold(desk, "restored from a backup", by)
    except BaseException:
        desk.store.close()
        made.unlink(missing_ok=True)
        raise
    desk.store.close()
    return compared


def _prove(desk: Desk, file: Path) -> str:
    beside = head_beside(file)
    kept = _kept(beside)
    with desk.glance() as m:
        verdict = prove_all(m)
        missing = seals.missing(m.tx, kept) if kept is not None else None
    if not verdict.is_sound:
        first = verdict.bad[0] if verdict.bad else verdict.wrong[0][1]
        raise CannotRun(
            f"{file}: its record does not prove: {first}; it was changed after it was written, or BELLCHECK_KEY is "
            "not the one that it was written with"
        )
    if kept is None:
        return f"There is no {beside.name} beside it: what may be missing at its end was not compared."
    if missing is not None:
        raise CannotRun(f"{file}: its journal is not the one of {beside} ({missing}); take files that belong together")
    return f"All that head {kept.partition('-')[0]} of {beside.name} covers is in it."


def _kept(beside: Path) -> str | None:
    """The head in a file beside a backup; None where there is no such file. Raises `CannotRun` for another file."""
    if not beside.is_file():
        return None
    try:
        return str(json.loads(beside.read_text())["head"])
    except (ValueError, KeyError, TypeError):
        raise CannotRun(f"{beside} does not hold a head as `bellcheck backup` writes one; put it aside") from None


def _hold(desk: Desk, why: str, by: str) -> None:
    with desk.moment() as m:
        held.hold(m, why, by)
