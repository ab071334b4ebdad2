"""`bellcheck health`: one line and an exit code, for watchdogs."""

from argparse import ArgumentParser, Namespace

from service.engine.clock import RealClock
from service.engine.desk import Desk
from service.engine.health import health
from service.store.base import Store
from service.store.errors import StoreError
from service.store.journal import Journal
from service.verbs.desks import settings
from service.verbs.folders import json_option
from service.verbs.speaking import DONE, PROBLEMS, Out


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    json_option(parser)


def run(args: Namespace, out: Out) -> int:
    """Judge from the database; nothing is written, and no key is needed."""
    store = Store(settings().database)
    try:
        store.check_version()
        with Desk(store, RealClock(), Journal(b""), b"", "health").glance() as m:
            found = health(m)
    except StoreError as error:
        out.json({"well": False, "wrongs": [str(error)]}) if args.json else out.line(f"not well: {error}")
        return PROBLEMS
    finally:
        store.close()
    if args.json:
        out.json(
            {
                "well": found.is_well,
                "wrongs": list(found.wrongs),
                "seconds_since_heartbeat": found.seconds_since_heartbeat,
                "oldest_unsent_seconds": found.oldest_unsent_seconds,
                "notes": list(found.notes),
            }
        )
    else:
        out.line(found)
    return DONE if found.is_well else PROBLEMS
