"""The reader of lines against lines with planted defects: each is seen, and by the promise it breaks."""

import json
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import cache
from typing import Any

import pytest
from days import Lines, play

from service.rehearsal.invariants import broken

Plant = Callable[[Lines], Any]

DAYS: dict[str, tuple[str, ...]] = {
    "silent": (),
    "fault": ("08:16 R 2 cable, rest ok", "08:40 A mine 30", "10:00 R 2 fixed"),
    "alarm": ("08:06 L 2 swallowed", "08:17 L found", "08:18 L yes"),
    "closed": ("08:22 notice C closed",),
    "down": ("08:12 service down", "08:52 service up"),
    "question": ("08:06 L not ok",),
    "news within an alert": ("08:26 L not me", "08:31 L 2 fixed", "08:32:30 L 1 coil, rest ok"),
    "an end in hindsight": ("13:52 notice C early end 12:00",),
    "down to the end": ("08:18 service down", "08:25 A 2 working"),
    "an alarm about no check": ("09:04 C 2 swallowed",),
    "retried after an outage": ("08:04 channel A time-out", "09:20 service down", "11:25 service up"),
    "nobody to tell": ("12:33 channel C refuse", "12:39 L mine"),
}


@cache
def _played(day: str) -> str:
    return json.dumps(play(*DAYS[day]))


def lines_of(day: str) -> Lines:
    lines: Lines = json.loads(_played(day))
    return lines


def seen(lines: Lines) -> list[str]:
    return [found["invariant"] for found in broken(lines)]


def at(lines: Lines, kind: str, **fields: Any) -> int:
    """The place of the first line of a kind with these fields."""
    return next(
        i
        for i, line in enumerate(lines)
        if line["kind"] == kind and all(line.get(k) == v for k, v in fields.items())
    )


def later(line: dict[str, Any], minutes: float) -> None:
    line["at"] = (datetime.fromisoformat(line["at"]) + timedelta(minutes=minutes)).isoformat()


def drop(kind: str, **fields: Any) -> Plant:
    return lambda lines: lines.pop(at(lines, kind, **fields))


def change(kind: str, fields: dict[str, Any], **to: Any) -> Plant:
    return lambda lines: lines[at(lines, kind, **fields)].update(to)


def delay(minutes: float, kind: str, **fields: Any) -> Plant:
    return lambda lines: later(lines[at(lines, kind, **fields)], minutes)


def copy(minutes: float, kind: str, fields: dict[str, Any], **to: Any) -> Plant:
    """A second line like one that is there, some minutes later."""

    def plant(lines: Lines) -> None:
        made = {**lines[at(lines, kind, **fields)], **to, "n": 900}
        later(made, minutes)
        lines.insert(len(lines) - 1, made)

    return plant


def no_news(lines: Lines) -> None:
    """Nobody who was alerted hears how it ended."""
    lines[:] = [x for x in lines if not (x["kind"] == "message" and x["purpose"] in ("news", "no_check"))]


def refused_all_day(lines: Lines) -> None:
    """Nothing was accepted by anybody, and yet the silence is held against them."""
    for line in lines:
        if line["kind"] == "message" and line["purpose"] != "chain_end":
            line["outcome"] = "refused"


def named(line: dict[str, Any]) -> None:
    line["text"] = "Moss has a fault\n" + line["text"]


DEFECTS: list[tuple[str, str, str, Plant]] = [
    ("a check without its result", "silent", "1", drop("check", student="s2")),
    ("a result that was taken back by nobody", "silent", "1", change("check", {"student": "s1"}, result=None)),
    ("silence held against people who were not reached", "silent", "1", refused_all_day),
    ("not asked although asked", "silent", "1", change("check", {"student": "s3"}, result="not asked")),
    ("a turn nobody was told of", "silent", "2", drop("message", to="C", purpose="alert")),
    ("an alert five minutes late", "silent", "2", delay(5, "message", to="A", purpose="alert")),
    ("an alert that was never accepted", "silent", "2",
     change("message", {"to": "R", "purpose": "alert"}, outcome="timed_out")),
    ("an alarm that told nobody", "alarm", "2",
     lambda lines: lines.__setitem__(slice(None), [x for x in lines if x.get("purpose") != "alert"])),
    ("the same key accepted twice", "fault", "3", copy(0, "message", {"to": "A", "purpose": "alert"})),
    ("a contact alerted again under another key", "fault", "3",
     copy(30, "message", {"to": "A", "purpose": "alert"}, key="another")),
    ("a reminder after the answer", "fault", "4",
     copy(20, "message", {"to": "L", "purpose": "reminder"}, key="another")),
    ("a second telling on a closed day", "closed", "4",
     copy(10, "message", {"to": "C", "purpose": "alert"}, key="another")),
    ("an alert after the last bell", "silent", "4",
     copy(400, "message", {"to": "A", "purpose": "alert"}, key="another")),
    ("an end that nobody heard of", "fault", "4", no_news),
    ("a snow day that nobody heard of", "closed", "4", no_news),
    ("words that were never read", "fault", "5", drop("reading", command="mine")),
    ("a question that was never asked", "question", "5", drop("message", purpose="question")),
    ("a fault read as working", "fault", "6", change("check", {"student": "s2"}, result="working")),
    ("a silence that became good news", "silent", "6", change("check", {"student": "s1"}, result="working")),
    ("a message sent while the service was down", "down", "7",
     copy(15, "message", {"to": "L", "purpose": "reminder"}, key="another")),
    ("silence counted before senders had tried again", "down", "7",
     delay(-1, "message", to="R", purpose="alert")),
    ("a result without a cause", "fault", "8", change("check", {"student": "s1"}, cause=[])),
    ("a cause that nobody knows", "fault", "8", change("chase", {"step": 1}, cause=["in-unknown"])),
    ("an alias on the lock screen", "fault", "10", lambda lines: named(lines[at(lines, "message", to="A")])),
    ("an alias in a guardian's message", "fault", "10",
     lambda lines: lines[at(lines, "message", to="G")].update(text="One thing\nMoss, left processor")),
]  # fmt: skip


@pytest.mark.parametrize("day", DAYS)
def test_a_day_as_it_was_played_breaks_no_promise(day: str) -> None:
    assert seen(lines_of(day)) == []


@pytest.mark.parametrize(("what", "day", "promise", "plant"), DEFECTS, ids=[d[0] for d in DEFECTS])
def test_a_planted_defect_is_seen_by_the_promise_it_breaks(
    what: str, day: str, promise: str, plant: Plant
) -> None:
    lines = lines_of(day)
    plant(lines)

    assert promise in {name.split()[0] for name in seen(lines)}, what


def test_the_lines_that_show_a_broken_promise_are_named_by_their_numbers() -> None:
    lines = lines_of("fault")
    place = at(lines, "check", student="s2")
    lines[place]["result"] = "working"

    assert {"invariant": "6 good news only as it was said", "lines": [lines[place]["n"]]} in broken(lines)


def test_a_day_that_is_watched_only_until_noon_owes_no_results() -> None:
    noon = play(until="12:00")

    assert noon[-1]["broken"] == []
    assert noon[-1]["results"] == {"open": 3}


def test_the_last_line_of_a_rehearsal_says_what_was_broken() -> None:
    assert lines_of("fault")[-1]["broken"] == []
