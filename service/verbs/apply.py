"""`bellcheck apply DIR`: put a folder into force, after showing what would change."""

from argparse import ArgumentParser, Namespace
from collections.abc import Sequence
from pathlib import Path

from service.engine import commands
from service.engine.desk import Desk
from service.engine.effects import Effect, effects_of
from service.setup import Change, compare
from service.store import configuration
from service.verbs.desks import by_option, desk_open, who
from service.verbs.folders import folder_argument, json_option, loaded, placed
from service.verbs.speaking import DONE, PROBLEMS, CannotRun, Out

SHOWN_FIELDS = 6
SHOWN_EFFECTS = 20


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    folder_argument(parser)
    parser.add_argument("--yes", action="store_true", help="do it without asking")
    by_option(parser)
    json_option(parser)


def run(args: Namespace, out: Out) -> int:
    """Show what would change and what that does to today's checks; then do it, if told so."""
    documents = _documents(args.folder, out)
    with desk_open(args.folder) as desk:
        with desk.glance() as m:
            changes = compare(configuration.current(m.tx), documents)
        if not changes:
            out.json({"changes": [], "today": [], "applied": False}) if args.json else out.line(
                "Nothing changes: this folder is in force already."
            )
            return DONE
        effects = _effects(desk, documents)
        if not args.json:
            _show(changes, effects, out)
        applied = args.yes or (not args.json and out.asks("Put this into force?"))
        if applied:
            commands.configure(desk, documents, who(args.by))
        return _told(args, changes, effects, applied, out)


def _documents(folder: Path, out: Out) -> dict[str, dict[str, dict[str, object]]]:
    found = loaded(folder)
    if found.errors:
        raise CannotRun(*(placed(folder, problem) for problem in found.errors))
    for problem in found.warnings:
        out.wrong(placed(folder, problem))
    return {
        name: {id: dict(body) for id, body in entries.items()} for name, entries in found.documents.items()
    }


def _effects(desk: Desk, documents: dict[str, dict[str, dict[str, object]]]) -> tuple[Effect, ...]:
    with desk.glance() as m:
        return effects_of(m, documents)


def _show(changes: Sequence[Change], effects: Sequence[Effect], out: Out) -> None:
    for change in changes:
        out.line(f"{change.kind:<8} {change.section} {change.id}")
        if change.kind == "changed":
            out.lines(f"           {field}" for field in change.fields[:SHOWN_FIELDS])
            if len(change.fields) > SHOWN_FIELDS:
                out.line(f"           and {len(change.fields) - SHOWN_FIELDS} more")
    out.line()
    if not effects:
        out.line("Checks planned for today stay as they are.")
        return
    out.line(f"Checks planned for today: {len(effects)} change.")
    out.lines(f"  {effect}" for effect in effects[:SHOWN_EFFECTS])
    if len(effects) > SHOWN_EFFECTS:
        out.line(f"  and {len(effects) - SHOWN_EFFECTS} more")


def _told(
    args: Namespace, changes: Sequence[Change], effects: Sequence[Effect], applied: bool, out: Out
) -> int:
    if args.json:
        listed = [{"section": c.section, "id": c.id, "kind": c.kind} for c in changes]
        today = [{"check": e.check, "what": e.what} for e in effects]
        out.json({"changes": listed, "today": today, "applied": applied})
    elif applied:
        out.line("Done. A service that is running takes it up within five seconds.")
    else:
        out.line("Nothing was changed. Use --yes to do it without being asked.")
    return DONE if applied else PROBLEMS
