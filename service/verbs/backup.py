"""`bellcheck backup FILE`: a whole copy of the SQLite database while it runs, with where its journal stands."""

import json
from argparse import ArgumentParser, Namespace
from pathlib import Path

from service.engine.clock import RealClock, wall_now
from service.engine.desk import Desk
from service.settings import Settings
from service.store import copies
from service.store.base import Store
from service.store.journal import Head, Journal
from service.verbs.desks import settings
from service.verbs.speaking import DONE, CannotRun, Out


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    parser.add_argument("file", metavar="FILE", type=Path, help="a file that is not there yet")


def run(args: Namespace, out: Out) -> int:
    """Copy while writers go on; the copy is checked before it counts. FILE.head says where its journal stands."""
    held = settings()
    source = database_file(held)
    if source is None:
        raise CannotRun("this database is on PostgreSQL; back it up with `pg_dump --format=custom`")
    if not source.is_file():
        raise CannotRun(f"there is no database at {source}; name it in BELLCHECK_DB")
    beside = head_beside(args.file)
    for file in (args.file, beside):
        if file.exists():
            raise CannotRun(f"{file} is there already; give a new name, so that no backup is lost")
    copies.copy(source, args.file)
    head = head_in(held, args.file)
    beside.write_text(json.dumps({"at": wall_now().isoformat(), "entries": head.entries, "head": head.seal}))
    out.line(f"wrote {args.file} ({args.file.stat().st_size // 1024} kB)")
    out.line(f"{head.entries} entries in its journal. Head {head.seal}, also in {beside}")
    return DONE


def database_file(held: Settings) -> Path | None:
    """The file of an SQLite database; None on PostgreSQL or in memory."""
    store = Store(held.database)
    store.close()
    return None if store.dialect != "sqlite" or store.in_memory else Path(str(store.url.database))


def head_beside(file: Path) -> Path:
    """The file that says where the journal of a backup stands."""
    return file.with_name(file.name + ".head")


def head_in(held: Settings, file: Path) -> Head:
    """Where the journal in an SQLite file stands."""
    store = Store(f"sqlite:///{file}")
    try:
        with Desk(store, RealClock(), Journal(held.key), held.key, "backup").glance() as m:
            return m.desk.journal.head(m.tx)
    finally:
        store.close()
