"""A reply taken back at an odd moment, on each database: things stand as if it had not been said (C9)."""

import pytest
from sqlmodel import select

from service.core.notices import NoticeError
from service.core.reading import Command, Fault, Outcome, Reading, Result
from service.engine import commands, running
from service.engine.desk import Desk
from service.store.tables import ChaseRow, CheckRow
from tests.engine.engine_district import district
from tests.engine.engine_morning import Receivers, play_to, says

CHECKER = "school000-room0"
ROUND = f"rd-school000-2026-10-05-0805-{CHECKER}"


@pytest.fixture
def planned(desk: Desk) -> Desk:
    commands.configure(desk, district(), "test")
    return desk


def hear(desk: Desk, text: str) -> None:
    """The checker writes, and it is read at once."""
    says(desk, CHECKER, text, text)
    running.run_due(desk, desk.clock.now())


def press(desk: Desk, id: str, reading: Reading) -> None:
    """The checker presses a button of the round's page."""
    commands.press(desk, CHECKER, ROUND, {}, id, reading=reading)


def checks(desk: Desk) -> list[CheckRow]:
    with desk.store.reading() as tx:
        found = tx.exec(select(CheckRow).where(CheckRow.school == "school000"))
        return sorted((c for c in found if "2026-10-05" in c.id), key=lambda c: c.id)


def first(desk: Desk) -> tuple[str, str | None]:
    """How the first child's check stands."""
    return checks(desk)[0].state, checks(desk)[0].result


def running_chases(desk: Desk) -> list[str]:
    with desk.store.reading() as tx:
        return [c.id for c in tx.exec(select(ChaseRow)) if c.ended_at is None]


def test_a_late_answer_taken_back_leaves_the_day_unanswered(planned: Desk) -> None:
    receivers = Receivers()
    play_to(planned, "09:51", receivers)
    hear(planned, "1 ok")
    assert checks(planned)[0].body["late"]["result"] == "working"
    play_to(planned, "09:52", receivers)
    hear(planned, "undo")

    assert first(planned) == ("closed", "unanswered")
    assert "late" not in checks(planned)[0].body


def test_what_is_said_after_an_emergency_of_the_evening_and_taken_back_leaves_the_day_unanswered(
    planned: Desk,
) -> None:
    receivers = Receivers()
    play_to(planned, "09:51", receivers)
    for minute, words in enumerate(("1 swallowed a battery", "found", "yes", "1 cable", "undo"), start=52):
        hear(planned, words)
        play_to(planned, f"09:{minute}", receivers)

    assert first(planned) == ("closed", "unanswered")


def test_an_answer_before_the_bell_taken_back_before_it_is_asked_at_the_bell(planned: Desk) -> None:
    receivers = Receivers()
    play_to(planned, "08:02", receivers)
    press(planned, "p1", Reading(outcomes={1: Outcome(Result.WORKING)}, pointed=frozenset({1})))
    press(planned, "p2", Reading(command=Command.UNDO))
    assert first(planned) == ("planned", None)
    play_to(planned, "08:06", receivers)

    assert first(planned) == ("asked", None)
    assert len(running_chases(planned)) == 3


def test_an_answer_before_the_bell_taken_back_after_it_is_asked_now(planned: Desk) -> None:
    receivers = Receivers()
    play_to(planned, "08:03", receivers)
    press(planned, "p1", Reading(outcomes={1: Outcome(Result.WORKING)}, pointed=frozenset({1})))
    play_to(planned, "08:06", receivers)
    press(planned, "p2", Reading(command=Command.UNDO))
    play_to(planned, "08:08", receivers)

    assert first(planned) == ("asked", None)
    assert len(running_chases(planned)) == 3
    assert "Tree00" in receivers.last[CHECKER].text


def test_a_child_who_is_away_by_now_is_not_asked_about_again(planned: Desk) -> None:
    receivers = Receivers()
    play_to(planned, "08:06", receivers)
    hear(planned, "1 ok")
    given = commands.give_notice(planned, f"away {CHECKER}-child0", "C")
    assert not isinstance(given, NoticeError)
    hear(planned, "undo")

    assert first(planned) == ("closed", "away")
    assert len(running_chases(planned)) == 2


def test_an_answer_taken_back_after_the_last_bell_leaves_silence_and_chases_nobody(planned: Desk) -> None:
    receivers = Receivers()
    play_to(planned, "09:48", receivers)
    hear(planned, "1 ok")
    play_to(planned, "09:51", receivers)
    hear(planned, "undo")

    assert first(planned) == ("closed", "unanswered")
    assert running_chases(planned) == []


def test_a_repair_taken_back_after_the_last_bell_holds_the_fault_for_the_next_morning(planned: Desk) -> None:
    receivers = Receivers()
    play_to(planned, "08:06", receivers)
    hear(planned, "1 cable, rest ok")
    play_to(planned, "09:48", receivers)
    hear(planned, "1 fixed")
    play_to(planned, "09:51", receivers)
    hear(planned, "undo")

    assert first(planned) == ("closed", "fault")
    with planned.store.reading() as tx:
        phases = [c.phase for c in tx.exec(select(ChaseRow)) if c.why == "fault"]
    assert phases == ["until next school day"]


def test_a_fault_reported_unasked_and_taken_back_asks_nobody(planned: Desk) -> None:
    receivers = Receivers()
    play_to(planned, "08:06", receivers)
    hear(planned, "ok")
    play_to(planned, "08:07", receivers)
    student = f"{CHECKER}-child0"
    fault = Outcome(Result.FAULT, (Fault("CABLE"),))
    commands.report(planned, CHECKER, student, fault, "p1", makes_check=True)
    play_to(planned, "08:08", receivers)
    hear(planned, "undo")

    assert first(planned) == ("closed", "working")
    assert running_chases(planned) == []
