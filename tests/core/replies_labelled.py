"""Labelled replies, and how a reading compares with a label."""

import json
import os
from pathlib import Path
from typing import Any

from service.core.district import Device, DeviceKind, Side
from service.core.reading import Asked, AskedStudent, Audience, Reading
from service.core.replies import default_words, read
from service.core.replies.page import as_json

Case = dict[str, Any]

HERE = Path(__file__).parent
SHARED = Path(os.environ.get("BELLCHECK_SHARED", HERE.parents[2] / "shared"))
SAMPLE = SHARED / "data" / "replies.jsonl"
OWN = HERE / "replies_own.jsonl"
BLIND = [HERE / f"replies_blind{number}.jsonl" for number in ("", 2, 3, 4)]
NEAR = [HERE / f"replies_near{number}.jsonl" for number in (1, 2, 3)]
# Of later hands: held to the goals, but not slipped.
LATER = [HERE / f"replies_near{number}.jsonl" for number in (5, 6)]
HAND = [HERE / f"replies_hand{number}.jsonl" for number in (1, 2, 3, 4, 5)]
EVERY = [OWN, *BLIND, *HAND, *([SAMPLE] if SAMPLE.exists() else []), *NEAR]
WORDS = default_words()
GOOD = {"working", "fixed"}


def cases(path: Path) -> list[Case]:
    """The cases of a file."""
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def asked_of(case: Case) -> Asked:
    """What was asked in a case."""
    students = tuple(
        AskedStudent(
            s["number"],
            s["alias"],
            tuple(Device(DeviceKind(d["kind"]), Side(d["side"]) if d["side"] else None) for d in s["devices"]),
        )
        for s in case["students"]
    )
    return Asked(Audience(case["audience"]), students)


def said_by(case: Case, text: str | None = None) -> Reading:
    """What the reply of a case, or another in its place, is read as."""
    return read(case["text"] if text is None else text, asked_of(case), WORDS)


def got(case: Case) -> Case:
    """The written form of what a case is read as."""
    return as_json(said_by(case), case["id"])


def comparable(form: Case) -> tuple[object, ...]:
    """A written form without the order of faults and sounds; absent `emergency` means false."""
    outcomes = {
        number: (
            o["result"],
            sorted((f["code"], f["side"] or "") for f in o["faults"]),
            sorted(o.get("missed_sounds", [])),
        )
        for number, o in form["outcomes"].items()
    }
    return outcomes, form["command"], form["minutes"], form["ask"], bool(form.get("emergency"))


def is_better(found: Case, expect: Case) -> bool:
    """Whether somebody is working or fixed who is not so labelled, or working who is labelled fixed."""
    wanted = {number: o["result"] for number, o in expect["outcomes"].items()}
    results = {number: o["result"] for number, o in found["outcomes"].items() if o["result"] in GOOD}
    return any(wanted.get(n) not in GOOD or (r, wanted[n]) == ("working", "fixed") for n, r in results.items())


def reads_better(case: Case, reading: Reading) -> bool:
    """The same of a reading, without its written form: quick, for many."""
    wanted = {int(number): o["result"] for number, o in case["expect"]["outcomes"].items()}
    results = {n: o.result.value for n, o in reading.outcomes.items() if o.result.value in GOOD}
    return any(wanted.get(n) not in GOOD or (r, wanted[n]) == ("working", "fixed") for n, r in results.items())
