"""Keeps a release's schema as real databases: `python -m tests.store.released.make 0002` before that release goes out.

A lived morning is played on an SQLite file and on PostgreSQL (`pg_dump` is needed) and kept compressed in a folder
named for the newest migration, with what must be found in it later. What is kept is never made again: later versions
of the program must be able to take it over as it is.
"""

import gzip
import json
import subprocess
import sys
import tempfile
from pathlib import Path

from service.engine.clock import SteppedClock
from service.store.base import Store
from tests.engine.engine_lived import BEGINS, lived_desk, play_morning
from tests.engine.engine_morning import at, results
from tests.store.conftest import SERVER, database_url, new_name, on_server

HERE = Path(__file__).parent


def main(release: str) -> int:
    folder = HERE / release
    if folder.exists():
        print(f"{folder} is there already, and what was released is never made again")
        return 2
    folder.mkdir()
    with tempfile.TemporaryDirectory() as temp:
        path = Path(temp) / "lived.db"
        keep(folder / "sqlite.db.gz", lived(f"sqlite:///{path}", folder / "sqlite.json"), path)
    name = new_name()
    on_server(f"CREATE DATABASE {name} TEMPLATE template0 ENCODING 'UTF8'")
    try:
        url = database_url(name).render_as_string(hide_password=False)
        keep(folder / "postgresql.sql.gz", lived(url, folder / "postgresql.json"), None)
    finally:
        on_server(f"DROP DATABASE {name} WITH (FORCE)")
    return 0


def lived(url: str, expected: Path) -> str:
    """Play the morning; what must be found in the database later is written beside it."""
    store = Store(url)
    store.upgrade()
    desk = lived_desk(store, SteppedClock(at(BEGINS)))
    play_morning(desk)
    with desk.glance() as m:
        head = desk.journal.head(m.tx)
    found = {
        "now": desk.clock.now().isoformat(),
        "entries": head.entries,
        "head": head.seal,
        "results": results(store),
    }
    expected.write_text(json.dumps(found, indent=1, sort_keys=True) + "\n")
    store.close()
    return url


def keep(file: Path, url: str, path: Path | None) -> None:
    """The whole database as one compressed file: the SQLite file itself, or SQL that anybody can load."""
    content = path.read_bytes() if path else dumped(url)
    file.write_bytes(gzip.compress(content, 9, mtime=0))


def dumped(url: str) -> bytes:
    """`pg_dump` as plain INSERTs, without owner and without lines that only `psql` understands."""
    address = url.replace("postgresql+psycopg:", "postgresql:")
    command = ["pg_dump", "--inserts", "--no-owner", "--no-privileges", address]
    done = subprocess.run(command, capture_output=True, check=True)
    lines = done.stdout.splitlines(keepends=True)
    return b"".join(line for line in lines if not line.startswith(b"\\"))


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(f"which migration? ({SERVER} is used for PostgreSQL)")
    sys.exit(main(sys.argv[1]))
