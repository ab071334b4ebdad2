"""The command line: which verbs there are, and what every one of them does with what goes wrong.

Only the module of the verb that is asked for is imported, so that `bellcheck day` needs no web server.
"""

import os
import sys
from argparse import ArgumentParser
from collections.abc import Mapping, Sequence
from importlib import import_module

from service.settings import BadSettings
from service.setup.problems import UnreadableError
from service.verbs.speaking import CANNOT, DONE, CannotRun, Out

VERBS: Mapping[str, tuple[str, str]] = {
    "new": ("new", "write a commented starter folder"),
    "check-config": ("check_config", "find every problem of a configuration folder"),
    "students": ("students", "students as a sheet: out to CSV, in from CSV"),
    "day": ("day", "the whole planned day, and what happens if nobody answers"),
    "rehearse": ("rehearse", "replay a scripted day through the real chains"),
    "read-reply": ("read_reply", "what a reply would be read as"),
    "apply": ("apply", "put a folder into force, after showing what would change"),
    "export": ("export", "write the configuration in force as a folder"),
    "preflight": ("preflight", "look at everything before serving, each with what to do"),
    "serve": ("serve", "the service itself"),
    "try": ("trying", "a school morning of an invented district, in fast time"),
    "demo-year": ("demo_year", "a whole school year of an invented district, lived into a database to look at"),
    "take-mail": ("take_mail", "one raw mail on standard input, from a mail server's pipe"),
    "notice": ("notice", "what changes today: give, list, withdraw"),
    "record": ("record", "who was asked when, who answered what, what followed"),
    "report": ("report", "how the checks went: shares, rates and times with their limits"),
    "findings": ("findings", "what stands out in a school year and is worth looking at"),
    "card": ("card", "cards to print: for a student, a room, a front office"),
    "supplies": ("supplies", "spares on the shelf: when they run out, what to order"),
    "health": ("health", "whether the service is well, in one line"),
    "verify": ("verify", "prove that nobody changed the record"),
    "forget": ("forget", "take out what identifies a student who has left, or is old enough"),
    "hold": ("hold", "keep a student's records from being forgotten"),
    "backup": ("backup", "copy the database while it runs"),
    "restore": ("restore", "put a backup in place of the database; nothing is sent until it is released"),
    "move": ("move", "move everything to another database, SQLite or PostgreSQL"),
    "release": ("release", "let a service ask and tell again that is held"),
    "version": ("version", "the versions of program and zone data"),
}

INTERRUPTED = 130


def main(argv: Sequence[str] | None = None) -> int:
    """Run one verb and return its exit code."""
    given = list(sys.argv[1:] if argv is None else argv)
    out = Out()
    if not given or given[0] in ("-h", "--help", "help"):
        out.raw(_help())
        return DONE if given else CANNOT
    verb, rest = given[0], given[1:]
    if verb not in VERBS:
        out.wrong(f"there is no verb {verb!r}; it would be right as one of: {', '.join(VERBS)}")
        return CANNOT
    return _run(verb, rest, out)


def _run(verb: str, rest: Sequence[str], out: Out) -> int:
    module, what = VERBS[verb]
    body = import_module(f"service.verbs.{module}")
    parser = ArgumentParser(prog=f"bellcheck {verb}", description=f"{what[0].upper()}{what[1:]}.")
    body.arguments(parser)
    args = parser.parse_args(rest)
    try:
        code: int = body.run(args, out)
        out.flush()
    except (CannotRun, BadSettings, UnreadableError) as error:
        out.wrong(error)
        return CANNOT
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except KeyboardInterrupt:
        return INTERRUPTED
    except Exception as error:
        if not _is_foreseen(error):
            raise
        out.wrong(_words(error))
        return CANNOT
    return code


def _is_foreseen(error: Exception) -> bool:
    """Whether an error speaks plain words. Its class is known only where its module was needed at all."""
    kinds = (("service.store.errors", "StoreError"), ("service.engine.desk", "NotSetUp"))
    return any(
        (module := sys.modules.get(name)) is not None and isinstance(error, getattr(module, kind))
        for name, kind in kinds
    )


def _words(error: Exception) -> str:
    return str(error) or "No configuration has been applied yet. Run `bellcheck apply DIR` first."


def _help() -> str:
    width = max(map(len, VERBS))
    lines = [f"  {verb.ljust(width)}  {what}" for verb, (_, what) in VERBS.items()]
    head = "Asks each school morning whether pupils' hearing technology works.\n\nusage: bellcheck VERB …\n\n"
    foot = "\n\n`bellcheck VERB --help` says more. Exit codes: 0 done; 1 found problems; 2 could not run.\n"
    return head + "\n".join(lines) + foot
