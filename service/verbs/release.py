"""`bellcheck release`: let a service go on that is held since its database was restored, or moved elsewhere."""

from argparse import ArgumentParser, Namespace

from service.engine import held, releasing
from service.engine.desk import Moment
from service.verbs.desks import by_option, desk_open, who
from service.verbs.folders import json_option
from service.verbs.speaking import DONE, PROBLEMS, Out


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--send", action="store_true", help="ask and tell what fell due, as after a downtime")
    how.add_argument("--skip", action="store_true", help="send nothing for the unknown time, go on from now")
    by_option(parser)
    json_option(parser)


def run(args: Namespace, out: Out) -> int:
    """Without a word, list what nobody can know; exit code 1 as long as the service is held."""
    with desk_open(moved_too=True) as desk:
        if not (args.send or args.skip):
            with desk.glance() as m:
                return _listed(m, args, out)
        done = releasing.release(desk, send=args.send, by=who(args.by))
    if done is None:
        out.json({"held": False}) if args.json else out.line("The service is not held.")
    elif args.json:
        out.json({"held": False, "checks": done.checks, "chases": done.chases, "messages": done.messages})
    elif args.send:
        out.line("Released. What fell due is asked and told as after a downtime, if it still matters.")
    else:
        out.line(
            f"Released. {done.checks} checks are recorded as not asked, {done.chases} chases ended or go on from "
            f"now, {done.messages} messages stay here. What falls due from now on is asked and told."
        )
    return DONE


def _listed(m: Moment, args: Namespace, out: Out) -> int:
    state = held.held_now(m)
    if state is None:
        out.json({"held": False}) if args.json else out.line("The service is not held.")
        return DONE
    found = list(releasing.unknown(m, state).lines(m))
    if args.json:
        since = state.since.isoformat() if state.since else None
        unknown = {"since": since, "until": state.until.isoformat(), "why": state.why, "unknown": found}
        out.json({"held": True, **unknown})
        return PROBLEMS
    out.line(held.say(state))
    out.lines(f"  {line}" for line in found or ["Nothing fell due in that time."])
    out.line("`bellcheck release --send` asks and tells as after a downtime what still matters of it;")
    out.line("`bellcheck release --skip` sends nothing for it and records its checks as not asked.")
    return PROBLEMS
