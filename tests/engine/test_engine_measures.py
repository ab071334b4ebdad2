"""What the measures count of a lived day: faults in their times, silences in their turns, nothing of days to come."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path

import pytest

from service.core.days import SchoolDay
from service.core.measures.figures import Measure, figures
from service.core.reading import Result
from service.engine import commands, planner
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.engine.measures import Counted, as_fault, counted
from service.store.base import Store
from tests.engine.engine_district import district
from tests.engine.engine_morning import Receivers, at, open_desk, play_to, says

DAY = date(2026, 10, 5)
NEXT = date(2026, 10, 6)
CHECKER = "school000-room0"


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    store = Store(f"sqlite:///{tmp_path / 'measures.db'}")
    store.upgrade()
    made = open_desk(store, SteppedClock(at("07:00")))
    commands.configure(made, district(children=3), "C")
    planner.plan_all(made)
    return made


def live(desk: Desk, words: Sequence[tuple[str, str]], until: str, day: str = "2026-10-05") -> None:
    receivers = Receivers()
    for n, (wall, text) in enumerate(words):
        play_to(desk, wall, receivers, day)
        says(desk, CHECKER, text, f"{day}-{n}")
        play_to(desk, wall, receivers, day)
    play_to(desk, until, receivers, day)


def look(desk: Desk, first: date = DAY, last: date = DAY) -> Counted:
    with desk.glance() as m:
        return counted(m, first, last)


def found(desk: Desk) -> dict[str, Result | None]:
    return {check.student[-1]: check.result for check in look(desk).checks}


def test_a_fault_mended_by_its_finder_is_fixed_in_class_and_the_rest_is_as_it_was_said(desk: Desk) -> None:
    live(desk, [("08:06", "1 battery, rest ok"), ("08:08", "1 fixed")], "16:30")
    assert found(desk) == {"0": Result.FIXED, "1": Result.WORKING, "2": Result.WORKING}


def test_a_fault_mended_the_next_day_was_a_fault_all_the_same(desk: Desk) -> None:
    live(desk, [("08:06", "1 cable, rest ok")], "16:30")
    live(desk, [("08:06", "1 fixed, rest ok")], "09:00", "2026-10-06")
    assert found(desk)["0"] is Result.FAULT
    (fault,) = look(desk).faults
    assert (fault.codes, fault.reported, fault.working) == (("CABLE",), at("08:06"), at("08:06", "2026-10-06"))
    with desk.glance() as m:
        day = m.day("school000", DAY)
        into = m.day("school000", NEXT)
    assert isinstance(day, SchoolDay)
    assert isinstance(into, SchoolDay)
    first_day = (day.last - at("08:06")).total_seconds() / 60
    second_day = max(0.0, (at("08:06", "2026-10-06") - into.first).total_seconds() / 60)
    assert fault.lost.without == first_day + second_day


def test_an_open_fault_is_counted_as_longer_than_so_far_and_says_when_it_was_told(desk: Desk) -> None:
    live(desk, [("08:06", "1 cable, rest ok")], "12:00")
    (fault,) = look(desk).faults
    assert fault.working is None
    assert fault.told is not None
    spell = as_fault(fault, desk.clock.now())
    assert (spell.to_working.ended, spell.to_told.ended) == (False, True)
    with desk.glance() as m:
        day = m.day("school000", DAY)
    assert isinstance(day, SchoolDay)
    assert spell.to_working.length == fault.lost.without == (day.last - at("08:06")).total_seconds() / 60


def test_silence_is_unanswered_and_its_turns_are_each_cut_off_where_the_next_came(desk: Desk) -> None:
    live(desk, [], "16:30")
    assert set(found(desk).values()) == {Result.UNANSWERED}
    held = look(desk)
    assert not any(turn.took.ended for turn in held.turns)
    first = [turn for turn in held.turns if turn.position == 1]
    assert {(turn.who, turn.took.length) for turn in first} == {("checker", first[0].limit)}


def test_an_answer_in_time_is_the_first_turns_and_a_check_of_tomorrow_is_not_counted(desk: Desk) -> None:
    live(desk, [("08:07", "all ok")], "09:00")
    held = look(desk, last=NEXT)
    assert len(held.checks) == 3
    assert {(turn.position, turn.took.ended) for turn in held.turns} == {(1, True)}
    answer = {f.measure: f for f in figures(held.checks)}[Measure.TO_ANSWER]
    assert (answer.count, answer.of) == (3, 3)
    assert answer.estimate.value == held.turns[0].took.length


def test_what_was_taken_back_was_no_fault(desk: Desk) -> None:
    live(desk, [("08:06", "1 cable"), ("08:07", "undo"), ("08:08", "all ok")], "12:00")
    assert look(desk).faults == ()
    assert found(desk)["0"] is Result.WORKING
