"""`bellcheck backup FILE`: a whole copy of the SQLite database while it runs."""

import os
import sqlite3
from argparse import ArgumentParser, Namespace
from contextlib import closing
from pathlib import Path

from service.store.base import Store
from service.verbs.desks import settings
from service.verbs.speaking import DONE, CannotRun, Out

PAGES_AT_ONCE = 1000
"""Copied between two looks at whether somebody else wants to write."""


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    parser.add_argument("file", metavar="FILE", type=Path, help="a file that is not there yet")


def run(args: Namespace, out: Out) -> int:
    """Copy through SQLite's own backup, so that writers go on; the copy is checked before it counts."""
    store = Store(settings().database)
    source = store.url.database
    store.close()
    if store.dialect != "sqlite" or source is None:
        raise CannotRun("this database is on PostgreSQL; back it up with `pg_dump --format=custom`")
    if not Path(source).is_file():
        raise CannotRun(f"there is no database at {source}; name it in BELLCHECK_DB")
    if args.file.exists():
        raise CannotRun(f"{args.file} is there already; give a new name, so that no backup is lost")
    part = args.file.with_name(args.file.name + ".part")
    try:
        os.close(os.open(part, os.O_CREAT | os.O_WRONLY | os.O_TRUNC, 0o600))
        with closing(sqlite3.connect(source)) as here, closing(sqlite3.connect(part)) as there:
            here.backup(there, pages=PAGES_AT_ONCE)
            (sound,) = there.execute("PRAGMA integrity_check").fetchone()
        if sound != "ok":
            raise CannotRun(f"the copy is not sound ({sound}); the database may be damaged")
        part.replace(args.file)
    except (OSError, sqlite3.Error) as error:
        raise CannotRun(f"{args.file} cannot be written ({error}); give a place with room for it") from None
    finally:
        part.unlink(missing_ok=True)
    out.line(f"wrote {args.file} ({args.file.stat().st_size // 1024} kB)")
    return DONE
