"""`bellcheck backup FILE`: a whole copy of the SQLite database while it runs, with where its journal stands."""

import json
from argparse import ArgumentParser, Namespace
from pathlib import Path

from service.engine import sealing
from service.engine.clock import RealClock
from service.engine.desk import Desk
from service.settings import Settings
from service.store import copies, seals
from service.store.base import Store, StoreError
from service.store.journal import Journal
from service.store.seals import Kept
from service.verbs.desks import settings
from service.verbs.speaking import DONE, CannotRun, Out


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    parser.add_argument("file", metavar="FILE", type=Path, help="a file that is not there yet")


def run(args: Namespace, out: Out) -> int:
    """Copy while writers go on; the copy is checked before it counts. FILE.head holds its head, as `verify --head`
    takes it.
    """
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
    wrong = _make_head(held)
    copies.copy(source, args.file)
    kept = head_in(args.file)
    out.line(f"wrote {args.file} ({args.file.stat().st_size // 1024} kB)")
    if wrong:
        out.line(f"No new head could be made: {wrong}")
    if kept is None:
        out.line(f"Its journal has no head yet; there is no {beside.name}.")
        return DONE
    said = {"at": kept.at.isoformat(), "entries": kept.entries, "head": str(kept)}
    beside.write_text(json.dumps(said) + "\n")
    out.line(f"Head {kept} over {kept.entries} entries, also in {beside}; keep it elsewhere as well")
    return DONE


def _make_head(held: Settings) -> str:
    """Make a head over all that is in the database now, so that the copy has it; why not, if that cannot be.

    A backup is made all the same: where the disk is full, or the tables are those of an earlier version.
    """
    store = Store(held.database)
    try:
        store.check_version()
        sealing.head(Desk(store, RealClock(), Journal(held.key), held.key, "backup"))
    except StoreError as error:
        return str(error)
    finally:
        store.close()
    return ""


def database_file(held: Settings) -> Path | None:
    """The file of an SQLite database; None on PostgreSQL or in memory."""
    store = Store(held.database)
    store.close()
    return None if store.dialect != "sqlite" or store.in_memory else Path(str(store.url.database))


def head_beside(file: Path) -> Path:
    """The file that holds the newest head of a backup."""
    return file.with_name(file.name + ".head")


def head_in(file: Path) -> Kept | None:
    """The newest head in an SQLite file; None where it has none, or is of a version that made none."""
    store = Store(f"sqlite:///{file}")
    try:
        store.check_version()
        with store.reading() as tx:
            return seals.last(tx)
    except StoreError:
        return None
    finally:
        store.close()
