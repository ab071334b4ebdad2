"""From the journal of a rehearsed day to its lines: the format of `bellcheck rehearse --json`."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, date, datetime
from typing import Any

from sqlmodel import Session

from service.core.days import NoSchool, SchoolDay
from service.core.district import District
from service.core.zones import zone
from service.engine import proving
from service.engine.desk import Desk
from service.rehearsal.invariants import broken
from service.rehearsal.script import Scripted
from service.store import chases, inbox, outbox, rounds
from service.store.journal import Recorded

Line = dict[str, Any]

KINDS = ("round", "event", "reading", "check", "chase", "message", "withheld", "end")

FIELDS: Mapping[str, tuple[str, ...]] = {
    "round": ("school", "due", "checker", "students"),
    "event": (),
    "reading": ("person", "round", "text", "outcomes", "command", "minutes", "ask", "emergency"),
    "check": ("student", "result", "faults", "by"),
    "chase": ("why", "school", "round", "students", "severity", "state", "step", "until", "next"),
    "message": (
        "to",
        "role",
        "channel",
        "purpose",
        "key",
        "rounds",
        "chases",
        "students",
        "text",
        "outcome",
    ),
    "withheld": ("to", "purpose", "chases", "reason"),
}


def lines_of(
    desk: Desk, district: District, day: date, shown: Sequence[tuple[datetime, Scripted]]
) -> list[Line]:
    """All lines of the day, ordered and numbered, with the end line last."""
    with desk.glance() as m:
        entries = [
            (stream, found)
            for stream in desk.journal.streams(m.tx)
            for found in desk.journal.read(m.tx, stream)
        ]
        today = [(s, e) for s, e in entries if e.entry.kind != "plan" or s.endswith(f"/{day.isoformat()}")]
        raw = [line for stream, found in today for line in _lines(m.tx, district, stream, found)]
        raw += [_event_line(district, at, event) for at, event in shown]
        still_open = chases.open_ids(m.tx)
        results = Counter(
            check.result or "open" for s in district.schools for check in rounds.checks_of_day(m.tx, s, day)
        )
        verdict = proving.prove_all(m)
        over = {s: _over(m.day(s, day), desk.clock.now()) for s in district.schools}
    raw.sort(key=lambda line: (_utc(line), KINDS.index(line["kind"]), line["id"], line.pop("order")))
    numbered = [{"n": n, **line} for n, line in enumerate(raw, start=1)]
    end = _end_line(district, desk.clock.now(), results, still_open)
    ended: Line = {"n": len(raw) + 1, **end}
    wrong = [*verdict.bad, *[difference for _, difference in verdict.wrong]]
    kept = [{"invariant": f"8 the tables say what the journal says: {w}", "lines": []} for w in wrong]
    return [*numbered, {**ended, "broken": [*broken([*numbered, ended], over), *kept]}]


def _over(day: SchoolDay | NoSchool, end: datetime) -> datetime:
    return day.last if isinstance(day, SchoolDay) else end


def _utc(line: Line) -> datetime:
    return datetime.fromisoformat(line["at"]).astimezone(UTC)


def _lines(tx: Session, district: District, stream: str, found: Recorded) -> Iterator[Line]:
    entry = found.entry
    body = dict(entry.body)
    if entry.kind == "plan":
        for planned in body["rounds"]:
            yield _round(tx, district, stream, found, planned)
        return
    if entry.kind not in FIELDS:
        return
    at = (
        datetime.fromisoformat(body["sent_at"])
        if "sent_at" in body and body["outcome"] != "bounced"
        else entry.at
    )
    fields = {name: body.get(name) for name in FIELDS[entry.kind]}
    if entry.kind == "reading":
        row = inbox.lock(tx, body["inbox"])
        fields["text"] = row.text if row else ""
    if entry.kind == "message":
        sent = outbox.get(tx, body["id"])
        fields["text"] = sent.text if sent else ""
    if entry.kind == "chase":
        fields["until"] = _local(district, stream, fields["until"])
        if fields["next"]:
            fields["next"] = {**fields["next"], "at": _local(district, stream, fields["next"]["at"])}
    yield _line(district, stream, found.n, at, entry.kind, body["id"], list(entry.cause), fields)


def _round(tx: Session, district: District, stream: str, found: Recorded, planned: Mapping[str, Any]) -> Line:
    students = []
    for student in planned["students"]:
        check = rounds.check(tx, student["check"])
        alias = check.alias if check else ""
        students.append(
            {
                "number": student["number"],
                "alias": alias,
                "check": student["check"],
                "routine": student["routine"],
            }
        )
    fields = {
        "school": planned["school"],
        "due": _local(district, stream, planned["due"]),
        "checker": planned["checker"],
        "students": students,
    }
    cause = list(found.entry.cause)
    return _line(district, stream, found.n, found.entry.at, "round", planned["id"], cause, fields)


def _event_line(district: District, at: datetime, event: Scripted) -> Line:
    what = {k: v for k, v in event.what.items() if k != "span"}
    if event.what.get("span"):
        what["does"] = f"{what['does']} {int(event.what['span'].total_seconds())} s"
    body = {event.kind: what["service"] if event.kind == "service" else what}
    school = event.school or event.what.get("school") or ""
    return _line(district, f"{school}/", 0, at, "event", event.id, [], body)


def _line(
    district: District,
    stream: str,
    order: int,
    at: datetime,
    kind: str,
    id: str,
    cause: list[str],
    fields: Mapping[str, Any],
) -> Line:
    return {
        "at": _in_zone(district, stream, at).isoformat(),
        "kind": kind,
        "id": id,
        "cause": cause,
        **fields,
        "order": order,
    }


def _in_zone(district: District, stream: str, at: datetime) -> datetime:
    school = district.schools.get(stream.partition("/")[0]) or next(iter(district.schools.values()))
    return at.astimezone(zone(school.zone))


def _local(district: District, stream: str, text: str | None) -> str | None:
    return _in_zone(district, stream, datetime.fromisoformat(text)).isoformat() if text else None


def _end_line(
    district: District,
    at: datetime,
    results: Mapping[str, int],
    still_open: Sequence[str],
) -> Line:
    line = _line(district, "", 0, at, "end", "end", [], {})
    line.pop("order")
    return {
        **line,
        "results": dict(sorted(results.items())),
        "open": list(still_open),
    }
