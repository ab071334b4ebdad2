"""A morning without rounds that should have had some is itself an alarm, whatever went wrong with the plan."""

import pytest

from service.core.reading import Result
from service.engine import commands, held, planner, results, unasked
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.engine.expected import missing
from service.engine.figures import figures_of
from service.engine.health import health
from service.store import rounds
from tests.engine.engine_district import district
from tests.engine.engine_morning import Receivers, at, broken_streams, messages, play_to


@pytest.fixture
def unplanned(desk: Desk) -> Desk:
    """Two schools in force since 07:00, and nobody plans."""
    commands.configure(desk, district(schools=2), "C")
    return desk


def found(desk: Desk, wall: str, day: str = "2026-10-05") -> list[str]:
    assert isinstance(desk.clock, SteppedClock)
    desk.clock.move_to(at(wall, day))
    with desk.glance() as m:
        return [each.school for each in missing(m)]


def test_where_nothing_was_planned_it_is_found_five_minutes_after_the_first_check_was_due(unplanned: Desk) -> None:
    assert found(unplanned, "08:09:59") == []
    assert found(unplanned, "08:10") == ["school000", "school001"]
    assert found(unplanned, "09:49") == ["school000", "school001"]
    assert found(unplanned, "09:50") == [], "the day is over"


def test_a_morning_that_goes_as_it_should_is_never_found(unplanned: Desk) -> None:
    planner.plan_all(unplanned)
    receivers = Receivers()
    for wall in ("07:30", "08:05", "08:10", "08:30", "09:49"):
        play_to(unplanned, wall, receivers)
        assert found(unplanned, wall) == []


def test_what_was_planned_and_never_asked_is_found_and_so_is_what_could_not_be_asked(unplanned: Desk) -> None:
    planner.plan_all(unplanned)
    assert found(unplanned, "08:10") == ["school000", "school001"]
    with unplanned.moment() as m:
        for check in rounds.checks_of_day(m.tx, "school000", m.today("school000")):
            results.close(m, check.id, Result.NOT_ASKED, ["x"], None, "too late to ask")
        (first, *_) = rounds.checks_of_day(m.tx, "school001", m.today("school001"))
        results.close(m, first.id, Result.WORKING, ["x"], "C")
    assert found(unplanned, "08:11") == ["school000"]


def test_a_closed_school_a_weekend_and_a_school_set_up_that_morning_are_not_found(unplanned: Desk) -> None:
    commands.give_notice(unplanned, "closed", "C", "school000")
    assert found(unplanned, "08:10") == ["school001"]
    commands.configure(unplanned, district(schools=3), "C")
    assert found(unplanned, "08:30") == ["school001"]
    assert found(unplanned, "08:30", "2026-10-10") == []
    assert found(unplanned, "08:30", "2026-10-12") == ["school000", "school001", "school002"]


def test_the_coordinator_hears_once_a_day_in_words_that_tell_what_to_do(unplanned: Desk) -> None:
    found(unplanned, "08:10")
    for _ in range(3):
        assert len(unasked.tell(unplanned, at("08:10"))) == 2
    sent = [m for m in messages(unplanned.store) if m.person == "C"]
    assert len(sent) == len(messages(unplanned.store)) == 2
    assert sent[0].lock_line == "Nobody was asked for checks today, please act"
    assert "A School: the first check was due at 08:05" in sent[0].text
    assert broken_streams(unplanned) == []


def test_a_service_that_is_held_tells_nobody_but_says_so(unplanned: Desk) -> None:
    found(unplanned, "08:10")
    with unplanned.moment() as m:
        held.hold(m, "restored from a backup", "C")
    assert len(unasked.tell(unplanned, at("08:10"))) == 2
    assert messages(unplanned.store) == []


def test_health_and_figures_say_it(unplanned: Desk) -> None:
    found(unplanned, "08:10")
    with unplanned.glance() as m:
        wrongs = "; ".join(health(m).wrongs)
        assert figures_of(m).schools_without_rounds == 2
    assert "nobody was asked at school000 today, though the first check was due at 13:05 UTC" in wrongs
