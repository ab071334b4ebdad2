"""Whole days for the rules: every day that is played here must keep every promise of the service."""

import json
from collections.abc import Mapping
from datetime import date
from typing import Any

from days import MONDAY, Lines, _event, clock, documents, of_kind

from service.rehearsal import read_script, rehearse


def day(*events: str, on: date = MONDAY, until: str | None = None, **changed: Mapping[str, Any]) -> Lines:
    """Play a day. Events as in `days.play`; "08:09 L? ok" is said in reply to nothing. `changed` merges into the
    district by section and id, as chains={"same-day": {...}}; `settings` has no ids.
    """
    script: dict[str, Any] = {"events": [_unthreaded(_event(e)) for e in events]}
    if until:
        script["until"] = until
    lines = rehearse(_district(changed), on, read_script(json.dumps(script)))
    assert lines[-1]["broken"] == []
    return lines


def _district(changed: Mapping[str, Mapping[str, Any]]) -> dict[str, dict[str, dict[str, Any]]]:
    district = documents()
    for section, entries in changed.items():
        for id, fields in {"settings": entries}.items() if section == "settings" else entries.items():
            district[section].setdefault(id, {}).update(fields)
    return district


def _unthreaded(event: dict[str, Any]) -> dict[str, Any]:
    said = event.get("says")
    if said and said["person"].endswith("?"):
        event["says"] = {**said, "person": said["person"][:-1], "re": "none"}
    return event


def held(lines: Lines, reason: str) -> list[str]:
    """What was withheld for a reason, as "08:15 R alert"."""
    found = [w for w in of_kind(lines, "withheld") if w["reason"] == reason]
    return list(dict.fromkeys(f"{clock(w)} {w['to']} {w['purpose']}" for w in found))


def text(lines: Lines, person: str, at: str, purpose: str | None = None) -> str:
    """What a person read at a minute."""
    found = [m for m in of_kind(lines, "message") if m["to"] == person and clock(m) == at]
    return "\n".join(m["text"] for m in found if purpose in (None, m["purpose"]))


def states(lines: Lines, student: str, why: str = "fault") -> list[str]:
    """How the chases about a student stood, as "08:06 climbing 0"."""
    found = [c for c in of_kind(lines, "chase") if c["why"] == why and c["students"] == [f"s{student}"]]
    return list(dict.fromkeys(f"{clock(c)} {c['state']} {c['step']}" for c in found))
