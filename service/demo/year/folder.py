"""What a demo year leaves behind: a configuration folder, a database, the secrets both need, and what was planted."""

import base64
import json
import secrets
from collections.abc import Callable
from dataclasses import asdict
from datetime import date
from pathlib import Path

from service.demo.year.living import EARLY, Living, at
from service.demo.year.nature import Nature
from service.demo.year.places import SECRET, documents
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.settings import KEY_BYTES
from service.setup import Documents, export, load
from service.store.base import Store
from service.store.journal import Journal

CONFIG, DATABASE, SECRETS, PLANTED = "config", "bellcheck.db", "secrets", "planted.json"
EVERY = 5
"""School days after which is said how far the year has come."""


class NotEmpty(Exception):
    """The folder already holds something that would be lost."""


def live(folder: Path, nature: Nature, first: date, last: date, say: Callable[[str], None]) -> None:
    """Live the dates from `first` to `last` of a year into a folder that is empty or not there yet.

    `say` is told how far it has come. Broken off, what was lived until then stays and is whole. Raises `NotEmpty`,
    and OSError where the folder cannot be written.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise NotEmpty(f"{folder} is not empty; give a folder that is empty or not there yet")
    folder.mkdir(parents=True, exist_ok=True)
    found = _configured(folder / CONFIG, nature)
    _write_planted(folder / PLANTED, nature)
    desk = _desk(folder, first)
    try:
        days = [day for day in nature.days if first <= day <= last]
        for n, day in enumerate(Living(desk, nature, found).days(first, last), start=1):
            if n % EVERY == 0 or n == len(days):
                say(f"{day}: {n} of {len(days)} school days")
    finally:
        desk.store.close()


def _configured(folder: Path, nature: Nature) -> Documents:
    export(documents(nature.year, nature.schools), folder)
    loaded = load(folder, {})
    if loaded.district is None:
        raise ValueError("\n".join(str(problem) for problem in loaded.errors))
    return loaded.documents


def _desk(folder: Path, first: date) -> Desk:
    file = folder / DATABASE
    key = _write_secrets(folder / SECRETS, file)
    file.touch(mode=0o600)
    store = Store(f"sqlite:///{file}", durable=False)
    store.upgrade()
    return Desk(store, SteppedClock(at(first, EARLY)), Journal(key), key, "demo-year")


def _write_secrets(path: Path, database: Path) -> bytes:
    """The file that BELLCHECK_SECRETS names; says the server's key, which is this folder's own."""
    key = secrets.token_hex(KEY_BYTES)
    signing = "whsec_" + base64.b64encode(secrets.token_bytes(32)).decode()
    path.touch(mode=0o600)
    lines = (
        f"BELLCHECK_DB=sqlite:///{database.resolve()}",
        f"BELLCHECK_KEY={key}",
        f"BELLCHECK_BOARD_KEY={secrets.token_hex(KEY_BYTES // 2)}",
        f"{SECRET}={signing}",
    )
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return key.encode()


def _write_planted(path: Path, nature: Nature) -> None:
    planted = [{**asdict(trouble), "autumn": nature.autumn, "seed": nature.seed} for trouble in nature.troubles]
    path.write_text(json.dumps(planted, indent=2) + "\n", encoding="utf-8")
