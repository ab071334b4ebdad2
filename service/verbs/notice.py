"""`bellcheck notice`: what changes today. `notice TEXT` gives one, `notice list` and `notice withdraw ID`."""

from argparse import ArgumentParser, Namespace
from datetime import timedelta
from typing import Any

from service.core.notices import Notice, NoticeError
from service.engine import commands, notices
from service.engine.codec import decode
from service.engine.desk import Desk
from service.engine.notices import Reach
from service.store import notices as stored
from service.verbs.desks import by_option, desk_open, who
from service.verbs.folders import json_option
from service.verbs.speaking import DONE, PROBLEMS, CannotRun, Out

AHEAD = timedelta(days=400)
SHOWN_DAYS = 5


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    parser.add_argument(
        "words",
        nargs="+",
        metavar="TEXT",
        help='such as "closed tomorrow", "delay 2 h", "early end 11:30", "away ID until 2026-10-09", "back ID", '
        '"swap ID for ID"; or: list; or: withdraw ID',
    )
    parser.add_argument("--school", metavar="ID", help="the school it is for, where the text names none")
    parser.add_argument("--yes", action="store_true", help="do it without asking")
    by_option(parser)
    json_option(parser)


def run(args: Namespace, out: Out) -> int:
    """Give, list or withdraw."""
    first, *rest = args.words
    with desk_open() as desk:
        if first == "list" and not rest:
            return _list(desk, args, out)
        if first == "withdraw" and len(rest) == 1:
            return _withdraw(desk, rest[0], args, out)
        return _give(desk, " ".join(args.words), args, out)


def _give(desk: Desk, text: str, args: Namespace, out: Out) -> int:
    by = who(args.by)
    with desk.glance() as m:
        _known_school(args.school, m.district.schools)
        read = commands.preview_notice(m, text, by, args.school)
        if isinstance(read, NoticeError):
            raise CannotRun(_words(read))
        reach = notices.reach(m, read)
    if not args.json:
        out.lines(_reached(read, reach))
    given = args.yes or (not args.json and out.asks("Give this notice?"))
    if given:
        read, reach = _given(desk, text, by, args.school)
    if args.json:
        out.json({**_as_json(read), **_reach_json(reach), "given": given})
    else:
        out.line(
            f"Given as {read.id}." if given else "Nothing was changed. Use --yes to do it without asking."
        )
    return DONE if given else PROBLEMS


def _given(desk: Desk, text: str, by: str, school: str | None) -> tuple[Notice, Reach]:
    """Give it as it reads at this moment; between preview and yes a minute, or midnight, may have passed."""
    given = commands.give_notice(desk, text, by, school)
    if isinstance(given, NoticeError):
        raise CannotRun(_words(given))
    return given


def _withdraw(desk: Desk, id: str, args: Namespace, out: Out) -> int:
    reach = commands.withdraw_notice(desk, id, who(args.by))
    if reach is None:
        raise CannotRun(f"there is no notice {id!r} in force; `bellcheck notice list` shows them")
    if args.json:
        out.json({"id": id, "withdrawn": True, **_reach_json(reach)})
    else:
        out.line(f"Withdrawn: {id}. What was not asked yet is planned again.")
    return DONE


def _list(desk: Desk, args: Namespace, out: Out) -> int:
    with desk.glance() as m:
        today = m.now.date()
        rows = stored.active(m.tx, today - timedelta(days=1), today + AHEAD)
    held = [decode(Notice, row.body) for row in rows]
    if args.json:
        out.json([_as_json(n) for n in held])
    elif not held:
        out.line("No notices are in force.")
    else:
        out.table(
            ("id", "days", "schools", "by", "notice"),
            [(n.id, _days(n), ", ".join(n.schools) or "all", n.by, n.text) for n in held],
        )
    return DONE


def _kind(notice: Notice) -> str:
    """What it says, with whom or how long: "away s-110", "delay 120 min", "early end 11:30"."""
    delay = f"{notice.delay // timedelta(minutes=1)} min" if notice.delay else ""
    ends = f"{notice.ends:%H:%M}" if notice.ends else ""
    other = f"for {notice.other}" if notice.other else ""
    kind = notice.kind.value.replace("_", " ")
    return " ".join(p for p in (kind, notice.subject, delay, ends, other) if p)


def _known_school(school: str | None, known: Any) -> None:
    if school is not None and school not in known:
        raise CannotRun(f"there is no school {school!r}; there are: {', '.join(known)}")


def _reached(notice: Notice, reach: Reach) -> list[str]:
    days = [d.isoformat() for d in reach.days[:SHOWN_DAYS]] + (["…"] if len(reach.days) > SHOWN_DAYS else [])
    return [
        f"Read as: {_kind(notice)}, {_days(notice)}",
        f"Reaches: {', '.join(reach.schools)}; {', '.join(days)}",
        f"Checks: {reach.planned} planned and not asked yet, {reach.asked} already asked",
    ]


def _days(notice: Notice) -> str:
    if notice.first == notice.last:
        return notice.first.isoformat()
    return f"{notice.first} to {notice.last}"


def _as_json(notice: Notice) -> dict[str, Any]:
    return {
        "id": notice.id,
        "kind": notice.kind.value,
        "first": notice.first.isoformat(),
        "last": notice.last.isoformat(),
        "schools": list(notice.schools),
        "by": notice.by,
        "text": notice.text,
    }


def _reach_json(reach: Reach) -> dict[str, Any]:
    return {
        "reaches": list(reach.schools),
        "days": [d.isoformat() for d in reach.days],
        "planned": reach.planned,
        "asked": reach.asked,
    }


def _words(error: NoticeError) -> str:
    return f"{error.wrong}; {error.right}"
