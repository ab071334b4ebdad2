"""Rehearsed days for tests: the worked district, short scripts, and what went to whom as short strings."""

import json
from collections.abc import Mapping, Sequence
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from service.rehearsal import read_script, rehearse
from service.setup import load

WORKED = Path(__file__).parent / "worked"
MONDAY = date(2026, 10, 5)
LATE_START = date(2026, 10, 6)

Lines = list[dict[str, Any]]


@cache
def _documents() -> str:
    loaded = load(WORKED, {})
    assert loaded.district is not None, [str(p) for p in loaded.problems]
    return json.dumps(loaded.documents)


def documents(**changed: Mapping[str, Any]) -> dict[str, dict[str, dict[str, Any]]]:
    """The worked district; `changed` merges fields into entries, as section__id={...}."""
    held = json.loads(_documents())
    for place, fields in changed.items():
        section, _, id = place.partition("__")
        held[section][id].update(fields)
    return held


def play(*events: str, day: date = MONDAY, until: str | None = None, **changed: Mapping[str, Any]) -> Lines:
    """Rehearse. Events are "08:07 L ok", "08:22 notice C closed", "08:20 channel R refuse", "08:12 service down"."""
    script: dict[str, Any] = {"events": [_event(e) for e in events]}
    if until:
        script["until"] = until
    return rehearse(documents(**changed), day, read_script(json.dumps(script)))


def _event(text: str) -> dict[str, Any]:
    at, what, rest = text.split(" ", 2)
    if what == "notice":
        by, words = rest.split(" ", 1)
        return {"at": at, "notice": {"text": words, "by": by, "school": "school"}}
    if what == "channel":
        person, does = rest.split(" ", 1)
        return {"at": at, "channel": {"name": "chat", "person": person, "does": does}}
    if what == "service":
        return {"at": at, "service": rest}
    if what == "page":
        return {"at": at, "page": json.loads(rest)}
    return {"at": at, "says": {"person": what, "text": rest}}


def messages(lines: Lines, first: str = "00:00", last: str = "23:59") -> list[str]:
    """The accepted messages as "08:15 R alert 1 2 3", by time and person; seconds only where there are any."""
    sent = [m for m in of_kind(lines, "message") if m["outcome"] == "accepted" and first <= clock(m) <= last]
    ordered = sorted(sent, key=lambda m: (m["at"], m["to"], m["purpose"]))
    return [f"{clock(m)} {m['to']} {m['purpose']} {students(m)}".rstrip() for m in ordered]


def clock(line: Mapping[str, Any]) -> str:
    """The wall time of a line, without seconds where they are nought."""
    return str(line["at"])[11:19].removesuffix(":00")


def students(line: Mapping[str, Any]) -> str:
    """The students of a line by the number of the worked chases."""
    return " ".join(sorted(s.removeprefix("s") for s in line["students"]))


def of_kind(lines: Lines, kind: str) -> Lines:
    """The lines of one kind."""
    return [line for line in lines if line["kind"] == kind]


def results(lines: Lines) -> dict[str, str | None]:
    """How each student's check stood at the end."""
    found: dict[str, str | None] = {}
    for line in of_kind(lines, "check"):
        found[line["student"].removeprefix("s")] = line["result"]
    return found


def told(lines: Lines, person: str, purposes: Sequence[str] = ()) -> list[str]:
    """When a person got messages, of certain purposes if named."""
    return [
        clock(m)
        for m in of_kind(lines, "message")
        if m["to"] == person and m["outcome"] == "accepted" and (not purposes or m["purpose"] in purposes)
    ]
