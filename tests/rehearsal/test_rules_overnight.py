"""Rule C12 over night: the same stage, played on into the next school morning."""

import json
from datetime import UTC, datetime, timedelta

import pytest
from days import MONDAY, Lines, _event, documents

from service.rehearsal import read_script
from service.rehearsal.lines import lines_of
from service.rehearsal.run import Stage
from service.setup import build

TUESDAY = MONDAY + timedelta(days=1)


def tuesday(*events: str) -> Lines:
    """The messages of Tuesday until 09:00 for things said on Monday."""
    script = read_script(json.dumps({"events": [_event(e) for e in events]}))
    district = build(documents())
    stage = Stage(documents(), district, MONDAY, script, datetime(2026, 10, 5, 5, tzinfo=UTC))
    try:
        stage.play()
        stage.run_until(datetime(2026, 10, 6, 14, tzinfo=UTC))
        lines = lines_of(stage.desk, district, MONDAY, stage.shown)
    finally:
        stage.desk.store.close()
    return [x for x in lines if x["kind"] == "message" and x["at"].startswith(TUESDAY.isoformat())]


def two_days(*events: str) -> list[str]:
    """What went to whom on Tuesday, as "07:30 A alert s2"."""
    sent = tuesday(*events)
    return [f"{m['at'][11:16]} {m['to']} {m['purpose']} {' '.join(m['students'])}" for m in sent]


def about_s2(sent: list[str]) -> list[str]:
    return [m for m in sent if m.endswith(" s2")]


def test_c12_a_held_fault_goes_on_from_the_same_step_with_the_time_that_was_left() -> None:
    """A was told at 14:25 with 20 minutes, C at 14:45 with 15: at the last bell nothing of it was left."""
    assert about_s2(two_days("08:06 L ok", "14:25 L 2 cable"))[0] == "07:30 G alert s2"


def test_c12_the_time_that_was_left_is_given_before_the_first_bell() -> None:
    """A was told at 14:29 and C at 14:49: 4 of their 15 minutes were left at the last bell."""
    assert about_s2(two_days("08:06 L ok", "14:29 L 2 cable"))[0] == "07:34 G alert s2"


def test_c12_who_had_it_in_hand_over_night_is_asked_and_the_next_step_is_told() -> None:
    sent = about_s2(two_days("08:06 L ok", "14:25 L 2 cable", "14:30 A mine 60"))

    assert sorted(sent[:2]) == ["07:30 A question s2", "07:30 C alert s2"]


def test_c12_a_fault_reported_after_school_begins_its_chain_in_the_morning() -> None:
    sent = about_s2(two_days("08:06 L ok", "15:01 L 2 cable"))

    assert sent[:2] == ["07:30 A alert s2", "07:50 C alert s2"]


def test_c12_a_fault_taken_in_hand_after_school_sleeps_on_and_is_asked_about_in_the_morning() -> None:
    sent = about_s2(two_days("08:06 L ok", "14:59 L 2 cable", "15:01 G mine 60"))

    assert "07:30 G question s2" in sent


def test_c12_an_open_fault_opens_the_next_prompt() -> None:
    prompt = next(m for m in tuesday("08:06 L ok", "14:25 L 2 cable") if m["purpose"] == "prompt")

    assert (prompt["at"][11:16], prompt["students"]) == ("08:05", ["s1", "s2", "s3"])
    assert "Still open: 2 cable (left) since Monday 14:25." in prompt["text"]


@pytest.mark.parametrize("reply", ["works at home", "seems fine now, works"])
def test_c7_what_was_said_to_be_working_alarms_nobody_in_the_morning(reply: str) -> None:
    sent = about_s2(two_days("08:06 L ok", "09:00 L 2 power", f"09:15 G {reply}"))

    assert sent == []
