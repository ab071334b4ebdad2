"""Days that went by without the service: one message says which, and the record shows what nobody looked after."""

from collections.abc import Callable

import pytest

from service.engine import commands, planner
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.engine.waker import catch_up
from service.store.tables import OutboxRow
from tests.engine.engine_district import district
from tests.engine.engine_morning import Receivers, at, broken_streams, messages, play_to, results, says

CHECKER = "school000-room0"
AGAIN = "2026-10-12"
"""A Monday, a week after the service went down."""


@pytest.fixture
def away(opened: Callable[..., Desk], clock: SteppedClock) -> Desk:
    """Two schools were asked on Monday, three of six checks answered; then nothing ran until the next Monday. The
    second school is closed that Thursday.
    """
    before = opened()
    commands.configure(before, district(schools=2), "test")
    commands.give_notice(before, "closed 2026-10-08 at school001", "C")
    play_to(before, "08:06", Receivers())
    says(before, CHECKER, "ok", "m1")
    play_to(before, "08:07", Receivers())
    before.store.close()
    clock.move_to(at("07:00", AGAIN))
    return opened("another")


def back(desk: Desk) -> None:
    """What a process does first, and the minutes after."""
    catch_up(desk, desk.clock.now())
    play_to(desk, "07:00", Receivers(), AGAIN)
    planner.plan_all(desk)
    play_to(desk, "07:30", Receivers(), AGAIN)


def summaries(desk: Desk) -> list[OutboxRow]:
    return [m for m in messages(desk.store) if m.purpose == "chain_end"]


def gaps(desk: Desk) -> dict[str, int]:
    """Streams of the journal that tell of a day nobody planned, with how many checks it should have had."""
    with desk.store.reading() as tx:
        entries = [e.entry for stream in desk.journal.streams(tx) for e in desk.journal.read(tx, stream)]
    found = [e for e in entries if (e.kind, e.body.get("reason")) == ("not planned", "service down")]
    return {e.stream: e.body["checks"] for e in found}


def test_after_a_week_one_message_says_which_days_were_missed_and_what_they_left(away: Desk) -> None:
    back(away)

    assert {m.person: m.text.splitlines()[:3] for m in summaries(away)} == {
        person: [
            "Summary of 5 school days, 5 Oct to 9 Oct",
            "A School: 0 without an answer, 12 not asked.",
            "A School: 3 without an answer, 9 not asked.",
        ]
        for person in ("A", "C")
    }
    assert len(summaries(away)) == 2


def test_the_record_shows_each_school_day_that_nobody_planned(away: Desk) -> None:
    back(away)

    planned_by_nobody = {f"school000/2026-10-{day:02}": 3 for day in (7, 8, 9)}
    assert gaps(away) == {**planned_by_nobody, "school001/2026-10-07": 3, "school001/2026-10-09": 3}
    assert broken_streams(away) == []


def test_planning_again_by_whomever_finds_no_day_a_second_time(away: Desk, opened: Callable[..., Desk]) -> None:
    back(away)
    found = gaps(away)
    planner.plan_all(opened("third"))
    away.planned.clear()
    planner.plan_all(away)
    play_to(away, "07:40", Receivers(), AGAIN)

    assert gaps(away) == found
    assert len(summaries(away)) == 2


def test_a_day_that_ends_while_the_service_runs_is_told_as_today(away: Desk) -> None:
    back(away)
    play_to(away, "10:00", Receivers(), AGAIN)

    today = [m.text.splitlines()[0] for m in summaries(away) if "today" in m.text]
    assert today == ["Summary of today's checks"] * 4
    assert [r for check, r in results(away.store).items() if AGAIN in check] == ["unanswered"] * 6


def test_days_without_school_are_no_gap(opened: Callable[..., Desk], clock: SteppedClock) -> None:
    desk = opened()
    clock.move_to(at("07:00", "2026-10-09"))
    commands.configure(desk, district(), "test")
    clock.move_to(at("07:00", AGAIN))
    planner.plan_all(desk)

    assert gaps(desk) == {}
