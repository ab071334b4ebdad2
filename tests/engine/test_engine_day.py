"""The engine through a morning, on each database: plan, ask, hear, settle, start again."""

from collections.abc import Callable

import pytest

from service.core.notices import NoticeError
from service.engine import chaser, commands, planner, postman, running
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.engine.hearing import hear as real_hear
from service.engine.postman import LEASE, Outcome, Report
from service.store import inbox, outbox
from tests.engine.engine_district import district
from tests.engine.engine_morning import (
    Receivers,
    at,
    broken_streams,
    messages,
    play_to,
    results,
    says,
    told,
)

CHECKER = "school000-room0"
SECOND = "school000-second"
CHILD = "school000-room0-child{}"


@pytest.fixture
def planned(desk: Desk) -> Desk:
    commands.configure(desk, district(), "test")
    return desk


def give(desk: Desk, text: str) -> None:
    given = commands.give_notice(desk, text, "C")
    assert not isinstance(given, NoticeError), given


def purposes(desk: Desk, person: str) -> list[str]:
    rows = [m for m in messages(desk.store) if m.person == person]
    return [row.purpose for row in sorted(rows, key=lambda row: (row.created_at, row.id))]


def monday(desk: Desk) -> list[str | None]:
    return [result for check, result in sorted(results(desk.store).items()) if "2026-10-05" in check]


@pytest.mark.parametrize("again", ["at once", "by another instance, or after a restart"])
def test_planning_twice_changes_nothing(planned: Desk, opened: Callable[..., Desk], again: str) -> None:
    planner_too = planned if again == "at once" else opened("two")
    before = results(planned.store)
    with planned.store.reading() as tx:
        head = planned.journal.head(tx)
    assert planner.plan_all(planner_too) == 0
    with planned.store.reading() as tx:
        assert planned.journal.head(tx) == head
    assert results(planned.store) == before
    assert len(before) == 6


def test_a_prompt_that_brings_news_of_another_room_links_to_its_own_round(desk: Desk) -> None:
    setup = district(rooms=2, children=1, **{"news wait": "30 min"})
    routine = setup["students"]["school000-room1-child0"]["routines"]["morning"]
    routine |= {"when": {"at": "08:30"}, "checker": SECOND, "second": CHECKER}
    commands.configure(desk, setup, "test")
    receivers = Receivers()
    play_to(desk, "08:21", receivers)
    says(desk, CHECKER, "ok", "m1")
    play_to(desk, "08:30", receivers)

    prompt = receivers.last[SECOND]
    assert "Answered at" in prompt.text
    assert prompt.purpose == "prompt"
    assert prompt.round == f"rd-school000-2026-10-05-0830-{SECOND}"
    assert "1 Tree10" in prompt.text


def test_a_round_answered_ok_is_settled_and_nobody_else_hears_of_it(planned: Desk) -> None:
    receivers = Receivers()
    play_to(planned, "08:06", receivers)
    says(planned, CHECKER, "ok", "m1")
    play_to(planned, "09:55", receivers)

    assert monday(planned) == ["working"] * 3
    assert {m.person for m in messages(planned.store)} == {CHECKER}
    assert purposes(planned, CHECKER) == ["prompt", "answer"]
    assert broken_streams(planned) == []


def test_a_closed_school_is_not_asked_and_those_asked_hear_that_nothing_is_to_be_done(planned: Desk) -> None:
    receivers = Receivers()
    play_to(planned, "08:06", receivers)
    give(planned, "closed")
    play_to(planned, "09:55", receivers)

    assert monday(planned) == ["no check"] * 3
    assert purposes(planned, CHECKER) == ["prompt", "no_check"]
    assert {m.person for m in messages(planned.store)} == {CHECKER}


def test_a_delay_moves_what_was_not_asked_yet(planned: Desk) -> None:
    receivers = Receivers()
    play_to(planned, "07:30", receivers)
    give(planned, "delay 30 min")
    play_to(planned, "08:30", receivers)
    assert messages(planned.store) == []
    play_to(planned, "08:35", receivers)
    assert purposes(planned, CHECKER) == ["prompt"]


def test_a_restart_in_mid_morning_goes_on_where_it_was(
    opened: Callable[..., Desk], clock: SteppedClock
) -> None:
    receivers = Receivers()
    before = opened()
    commands.configure(before, district(), "test")
    play_to(before, "08:07", receivers)
    before.store.close()

    clock.move_to(at("08:40"))
    after = opened("another")
    play_to(after, "09:55", receivers)

    assert set(receivers.arrived.values()) == {1}
    assert monday(after) == ["unanswered"] * 3
    alerted = {key.split("/")[2] for key in told(after.store, ["second", "alert"])}
    assert alerted == {SECOND, "C", "A"}
    assert [m.id for m in messages(after.store) if m.state not in ("accepted", "dropped")] == []
    assert broken_streams(after) == []


def test_after_a_restart_words_are_read_before_silence_is_judged(
    opened: Callable[..., Desk], clock: SteppedClock
) -> None:
    receivers = Receivers()
    desk = opened()
    commands.configure(desk, district(), "test")
    play_to(desk, "08:07", receivers)
    says(desk, CHECKER, "ok", "m1")
    clock.move_to(at("08:40"))
    play_to(opened("another"), "09:55", receivers)

    assert monday(desk) == ["working"] * 3
    assert {m.person for m in messages(desk.store)} == {CHECKER}


def test_a_message_that_cannot_be_read_is_put_aside_and_stops_nothing(
    planned: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stumble(m: object, row: object, answered: object) -> object:
        if getattr(row, "text", "") == "stumble":
            raise ZeroDivisionError
        return real_hear(m, row, answered)  # type: ignore[arg-type]

    monkeypatch.setattr("service.engine.hearing.hear", stumble)
    receivers = Receivers()
    play_to(planned, "08:06", receivers)
    says(planned, CHECKER, "stumble", "m1")
    says(planned, CHECKER, "ok", "m2")
    play_to(planned, "08:07", receivers)

    assert monday(planned) == ["working"] * 3
    with planned.store.reading() as tx:
        assert not inbox.has_unread(tx)


def test_while_a_message_lies_unread_no_silence_is_held_against_its_sender(planned: Desk) -> None:
    play_to(planned, "08:06", Receivers())
    says(planned, CHECKER, "ok", "m1")

    assert chaser.step_due(planned, at("08:15")) == 0
    running.run_due(planned, at("08:15"))
    assert monday(planned) == ["working"] * 3


def test_a_lease_that_runs_out_is_sent_again_under_the_same_key(
    planned: Desk, opened: Callable[..., Desk]
) -> None:
    now = at("08:05")
    planned.clock.move_to(now)  # type: ignore[attr-defined]
    running.run_due(planned, now)
    [first] = postman.claim(planned, now)
    other = opened("another")
    assert postman.claim(other, now + LEASE / 2) == []
    [again] = postman.claim(other, now + LEASE)
    assert (again.id, again.key) == (first.id, first.key)


def test_a_late_finisher_changes_nothing(planned: Desk, opened: Callable[..., Desk]) -> None:
    now = at("08:05")
    planned.clock.move_to(now)  # type: ignore[attr-defined]
    running.run_due(planned, now)
    [first] = postman.claim(planned, now)
    other = opened("another")
    [again] = postman.claim(other, now + LEASE)
    before = told(planned.store)
    postman.record(planned, first, Report(Outcome.REFUSED, "late", for_good=True), now + LEASE)
    [row] = messages(planned.store)
    assert (row.state, row.owner) == ("claimed", "another")
    assert told(planned.store) == before, "a refusal that no longer counts passes no turn on"
    postman.record(other, again, Report(Outcome.ACCEPTED), now + LEASE)
    postman.record(planned, first, Report(Outcome.TIMED_OUT), now + LEASE)
    [row] = messages(planned.store)
    assert (row.state, row.attempts) == ("accepted", 2)
    assert broken_streams(planned) == []


def test_one_step_is_one_transaction_and_a_failure_in_it_leaves_nothing(
    planned: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError("no space")

    monkeypatch.setattr(planned.journal, "append_many", full)
    with pytest.raises(OSError, match="no space"):
        running.run_due(planned, at("08:05"))
    assert monday(planned) == [None] * 3
    assert messages(planned.store) == []
    monkeypatch.undo()
    running.run_due(planned, at("08:05"))
    assert purposes(planned, CHECKER) == ["prompt"]


def test_a_claimed_message_that_is_settled_while_it_waits_for_a_lane_does_not_leave(planned: Desk) -> None:
    play_to(planned, "08:04", Receivers())
    clock = planned.clock
    assert isinstance(clock, SteppedClock)
    clock.move_to(at("08:05"))
    running.run_due(planned, clock.now())
    (prompt,) = postman.claim(planned, clock.now())
    assert not postman.withdrawn(planned, [prompt], clock.now())

    says(planned, prompt.person, "all ok", "early", prompt.id)
    running.run_due(planned, clock.now())

    assert postman.withdrawn(planned, [prompt], clock.now()) == {prompt.id}
    with planned.glance() as m:
        row = outbox.get(m.tx, prompt.id)
        assert row is not None
        assert (row.state, row.outcome) == ("dropped", "settled")
