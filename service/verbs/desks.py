"""What verbs on the database share."""

import getpass
import os
from argparse import ArgumentParser
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from service.engine.desk import Desk
from service.settings import Settings, read_settings
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
def desk_open(folder: Path | None = None) -> Iterator[Desk]:
    """The desk over the database, closed at the end."""
    desk = open_desk(settings(folder))
    try:
        yield desk
    finally:
        desk.store.close()
