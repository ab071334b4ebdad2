"""What verbs on the database share."""

import getpass
import os
from argparse import ArgumentParser
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from service.engine import held
from service.engine.desk import Desk
from service.settings import Settings, read_settings
from service.verbs.speaking import CannotRun
from service.wiring import open_desk


def by_option(parser: ArgumentParser) -> None:
    """`--by`, who acts."""
    parser.add_argument("--by", metavar="PERSON", help="id of the person who acts (default: your user name)")


def who(by: str | None) -> str:
    """Who acts: the person named, else the account's name."""
    if by:
        return by
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "command line"


def settings(folder: Path | None = None) -> Settings:
    """The settings of this process's environment."""
    return read_settings(os.environ, folder)


@contextmanager
def desk_open(folder: Path | None = None, *, moved_too: bool = False) -> Iterator[Desk]:
    """The desk over the database, closed at the end.

    Raises `CannotRun` where the data was moved to another database, unless that one may be looked at too.
    """
    desk = open_desk(settings(folder))
    try:
        with desk.glance() as m:
            found = None if moved_too else held.held(m.tx)
        if found is not None and found.moved_to:
            raise CannotRun(f"{desk.store.place} is {held.say(found)}")
        yield desk
    finally:
        desk.store.close()
