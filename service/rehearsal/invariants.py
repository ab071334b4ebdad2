"""An independent reader of a day's lines: which promises of the service were broken, and in which lines.

It knows the lines only, nothing of the engine that made them: what it concludes, it concludes from what a
person reading the same lines could see. Lines of one instant have no order among themselves.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from service.rehearsal.readout import GRACE, TOLD_WITHIN, Line, Readout, check_of, instant

NEWS_WITHIN = timedelta(minutes=60)
"""News may wait; what is still waiting this long before the lines end was forgotten."""

ASKING = ("prompt", "reminder", "second", "alert")
TURNS = ("prompt", "second", "alert")
RUNNING = (
    "trying first",
    "climbing",
    "in hand",
    "said to be working",
    "until next school day",
    "nobody left to tell",
    "alarm",
)
UNHEARD_ENDS = ("unanswered", "not asked", "outweighed", "asked again later")
"""Ends that are no news: the day's end is told in one message, the others go on under another name."""

GOOD = ("working", "fixed")
NEVER_SAID = ("unanswered", "not asked")
PLAN_IDS = re.compile(r"(plan|day|nt|shelves)-")


def broken(lines: Sequence[Line], over: Mapping[str, datetime] | None = None) -> list[dict[str, Any]]:
    """The invariants that do not hold, each with the numbers of the lines that show it.

    `over` says when the day of each school was over; without it, every day was over when the lines end.
    """
    day = Readout(lines, over)
    found = [
        ("1 every planned check ends its day with a result", _results(day)),
        ("1 unanswered only where somebody was asked, not asked only where nobody was", _asked(day)),
        ("2 told or passed over within 4 minutes", _turns(day)),
        ("3 one accepted message per key", _keys(day)),
        ("3 nobody is alerted twice in one chase", _twice(day)),
        ("4 nothing is asked about what is settled, closed or over", _pointless(day)),
        ("4 who was alerted hears the end", _unheard(day)),
        ("5 nothing that was said is lost", _lost(day)),
        ("6 good news only as it was said", _better_than_said(day)),
        ("7 nothing is sent while the service is down, and no silence counts right after", _down(day)),
        ("8 every change has a cause that is known", _causes(day)),
        ("10 no alias in a first line or in words for guardians", _aliases(day)),
    ]
    return [{"invariant": name, "lines": numbers} for name, hits in found if (numbers := sorted(set(hits)))]


def _results(day: Readout) -> Iterator[int]:
    for line in day.of("round"):
        over = day.over(line["school"])
        if over is None or over < datetime.fromisoformat(line["due"]):
            continue
        over = day.back(over)
        if over > day.last:
            continue
        for student in line["students"]:
            said = [c for c in day.checks.get(student["check"], []) if instant(c) <= over]
            if not said or said[-1]["result"] is None:
                yield line["n"]


def _asked(day: Readout) -> Iterator[int]:
    for id, said in day.checks.items():
        for line in said:
            if line["result"] not in NEVER_SAID:
                continue
            about = [c for c in day.told if c.startswith("ch-silence-") and check_of(c) == id]
            sent = [m for c in about for m in day.told[c] if m["purpose"] in ASKING]
            reached = any(m["outcome"] == "accepted" and instant(m) <= instant(line) for m in sent)
            if reached != (line["result"] == "unanswered"):
                yield line["n"]


def _turns(day: Readout) -> Iterator[int]:
    for id, states in day.chases.items():
        highest = -1
        for n, line in enumerate(states):
            if line["step"] > highest and line["state"] in ("climbing", "nobody left to tell", "alarm"):
                highest = line["step"]
                if not _met(day, id, instant(line), None):
                    yield line["n"]
            upcoming = line["next"]
            if upcoming is None or line["state"] not in RUNNING:
                continue
            due = datetime.fromisoformat(upcoming["at"])
            expected = due <= day.last and not _overtaken(states[n + 1 :], line, due)
            if expected and not _met(day, id, due, upcoming["person"]):
                yield line["n"]


def _overtaken(later: Sequence[Line], line: Line, due: datetime) -> bool:
    """Whether something happened to the chase before the turn came, or instead of it."""
    before = any(instant(c) < due for c in later)
    instead = any(instant(c) == due and c["step"] <= line["step"] for c in later)
    return before or instead


def _met(day: Readout, chase: str, due: datetime, person: str | None) -> bool:
    until = day.deadline(due)
    if until > day.last:
        return True
    left = _alerts_now(day, chase, due, "nobody left to tell")
    told = any(
        (m["outcome"] == "accepted" or left) and due <= instant(m) <= until and person in (None, m["to"])
        for m in day.told.get(chase, [])
        if m["purpose"] in (*TURNS, "chain_end")
    )
    passed = any(
        due <= instant(w) <= until and person in (None, w["to"]) for w in day.withheld.get(chase, [])
    )
    over = any(due <= instant(c) <= until and c["state"] != "climbing" for c in day.chases[chase])
    return told or passed or (over and not left and not _alerts_now(day, chase, due, "alarm"))


def _alerts_now(day: Readout, chase: str, due: datetime, state: str) -> bool:
    """Whether the chase stands where somebody must be told all the same; where nobody is left, to have tried
    is all that can be done.
    """
    states = [c["state"] for c in day.chases[chase] if instant(c) == due]
    return bool(states) and states[-1] == state


def _keys(day: Readout) -> Iterator[int]:
    seen: set[str] = set()
    for line in day.of("message"):
        if line["outcome"] == "accepted":
            if line["key"] in seen:
                yield line["n"]
            seen.add(line["key"])


def _twice(day: Readout) -> Iterator[int]:
    for chase, sent in day.told.items():
        seen: set[str] = set()
        for line in sent:
            if line["outcome"] != "accepted" or line["purpose"] not in TURNS:
                continue
            if not _is_turn(day, chase, line):
                continue
            if line["to"] in seen and not _may_repeat(day, chase, instant(line)):
                yield line["n"]
            seen.add(line["to"])


def _is_turn(day: Readout, chase: str, line: Line) -> bool:
    """Whether a message speaks of this chase because a turn came; of several, some may only be news."""
    if len(line["chases"]) == 1 or line["key"].startswith(f"{chase}/"):
        return "/-1/" not in line["key"]
    states = [c for c in day.chases.get(chase, []) if instant(c) <= instant(line)]
    before = [c for c in states if instant(c) < instant(line) - TOLD_WITHIN]
    expected = {c["next"]["person"] for c in states if c["next"]}
    rose = max((c["step"] for c in states), default=-1) > max((c["step"] for c in before), default=-1)
    running = bool(states) and states[-1]["state"] in RUNNING
    return running and rose and line["to"] in expected


def _may_repeat(day: Readout, chase: str, at: datetime) -> bool:
    states = [c for c in day.chases.get(chase, []) if instant(c) <= at]
    now = states[-1] if states else None
    return now is not None and (now["severity"] == "emergency" or now["state"] == "nobody left to tell")


def _pointless(day: Readout) -> Iterator[int]:
    for line in day.of("message"):
        asks = line["purpose"] in ASKING and line["chases"]
        if asks and all(_is_pointless(day, chase, instant(line)) for chase in line["chases"]):
            yield line["n"]


def _is_pointless(day: Readout, chase: str, at: datetime) -> bool:
    state = day.state(chase, at)
    if state is None:
        return False
    if state["state"] not in RUNNING or state["state"] == "until next school day":
        return not any(instant(c) == at and c["state"] in RUNNING for c in day.chases[chase])
    if state["why"] != "silence":
        return False
    over = day.over(state["school"])
    said = [c for c in day.checks.get(check_of(chase), []) if instant(c) < at]
    return bool(said and said[-1]["result"]) or (over is not None and at > over)


def _unheard(day: Readout) -> Iterator[int]:
    for id, states in day.chases.items():
        end = states[-1]
        if end["state"] in (*RUNNING, *UNHEARD_ENDS):
            continue
        alerted = {
            m["to"]
            for m in day.told.get(id, [])
            if m["purpose"] in ASKING and m["outcome"] == "accepted" and instant(m) < instant(end)
        }
        for person in alerted - _who(day, end):
            if not _heard(day, id, person, instant(end)):
                yield end["n"]


def _who(day: Readout, line: Line) -> set[str]:
    """The people whose words or acts caused a line."""
    people = {r["person"] for c in line["cause"] if (r := day.readings.get(c))}
    for event in day.of("event"):
        if event["id"] in line["cause"]:
            did = event.get("says") or event.get("page") or event.get("notice") or {}
            people |= {did[k] for k in ("person", "by") if k in did}
    return people


def _heard(day: Readout, chase: str, person: str, end: datetime) -> bool:
    if day.last < end + NEWS_WITHIN:
        waits = any(
            w["to"] == person and chase in w["chases"] and instant(w) >= end for w in day.of("withheld")
        )
        if waits or day.last < end + TOLD_WITHIN:
            return True
    about = [m for m in day.told.get(chase, []) if m["to"] == person and instant(m) >= end]
    kept = [w for w in day.withheld.get(chase, []) if w["to"] == person and instant(w) >= end]
    return any(m["purpose"] not in ASKING for m in about) or bool(kept) or _same_instant(about, end)


def _same_instant(about: Sequence[Line], end: datetime) -> bool:
    """An alert that went out with the news in it: what weighs most names the message."""
    return any(len(m["chases"]) > 1 and instant(m) >= end for m in about)


def _lost(day: Readout) -> Iterator[int]:
    read = {c for line in day.of("reading") for c in line["cause"]}
    answered = {c for line in day.of("message") for c in line["cause"]}
    for line in day.of("event"):
        down = any(since <= instant(line) and until > day.last for since, until in day.outages)
        if "says" in line and line["id"] not in read and not down:
            yield line["n"]
    for line in day.of("reading"):
        if line["ask"] and line["id"] not in answered and instant(line) < day.last:
            yield line["n"]


def _better_than_said(day: Readout) -> Iterator[int]:
    for id, said in day.checks.items():
        for n, line in enumerate(said):
            if line["result"] not in GOOD:
                continue
            spoken = [r for c in line["cause"] if (r := day.readings.get(c))]
            if not any(_says_so(day, id, said[:n], line, r) for r in spoken):
                yield line["n"]


def _says_so(day: Readout, check: str, before: Sequence[Line], line: Line, reading: Line) -> bool:
    if reading["outcomes"]:
        planned = day.students.get(check)
        numbers = _numbers(day, check, reading)
        if planned and str(planned["number"]) in reading["outcomes"] and not numbers:
            numbers = {str(planned["number"])}
        return any(reading["outcomes"][n]["result"] in GOOD for n in numbers or reading["outcomes"])
    if reading["command"] == "undo":
        return any(c["result"] == line["result"] for c in before)
    return reading["command"] == "working" or _was_asked(day, reading, line["student"])


def _numbers(day: Readout, check: str, reading: Line) -> set[str]:
    """Under which numbers of a reading a check stands, where the reading's round is known."""
    held = [r for r in day.of("round") if r["id"] == reading["round"]]
    numbers = {str(s["number"]) for r in held for s in r["students"] if s["check"] == check}
    return numbers & set(reading["outcomes"])


def _was_asked(day: Readout, reading: Line, student: str) -> bool:
    """A bare yes counts as an answer to a question about this student."""
    return any(
        m["to"] == reading["person"] and m["purpose"] == "question" and student in m["students"]
        for m in day.of("message")
        if instant(m) <= instant(reading)
    )


def _down(day: Readout) -> Iterator[int]:
    tried: set[str] = set()
    for line in day.of("message"):
        at = instant(line)
        again = line["id"] in tried
        tried.add(line["id"])
        for since, until in day.outages:
            silent = line["purpose"] in ("reminder", "alert", "second") and all(
                c.startswith("ch-silence-") for c in line["chases"]
            )
            if since < at < until or (silent and not again and until <= at < until + GRACE):
                yield line["n"]


def _causes(day: Readout) -> Iterator[int]:
    known: dict[str, datetime] = {}
    for line in day.lines:
        known.setdefault(line["id"], instant(line))
        for student in line.get("students", ()) if line["kind"] == "round" else ():
            known.setdefault(student["check"], instant(line))
    for line in day.lines:
        if line["kind"] in ("round", "event", "end"):
            continue
        if not line["cause"] or not all(_is_known(c, known, instant(line)) for c in line["cause"]):
            yield line["n"]


def _is_known(cause: str, known: Mapping[str, datetime], at: datetime) -> bool:
    return bool(PLAN_IDS.match(cause)) or (cause in known and known[cause] <= at)


def _aliases(day: Readout) -> Iterator[int]:
    names = {s["alias"] for line in day.of("round") for s in line["students"] if s["alias"]}
    if not names:
        return
    alias = re.compile(rf"(?<!\w)({'|'.join(map(re.escape, sorted(names)))})(?!\w)")
    for line in day.of("message"):
        first, _, rest = line["text"].partition("\n")
        named = line["role"] == "guardian" and not _is_emergency(day, line) and alias.search(rest)
        if alias.search(first) or named:
            yield line["n"]


def _is_emergency(day: Readout, line: Line) -> bool:
    """In an emergency a district may have the child named to guardian, nurse and office (34 CFR 99.36)."""
    return any(c["severity"] == "emergency" for id in line["chases"] for c in day.chases.get(id, []))
