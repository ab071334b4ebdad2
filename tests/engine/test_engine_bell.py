"""Many rounds at one bell: few statements, the same record, and nobody's trouble is another's."""

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import Any

import pytest
from sqlalchemy import event
from sqlmodel import col, select

from service.engine import commands, prompter, running
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.store import chases
from service.store.batches import change
from service.store.tables import ChaseRow, CheckRow, JournalRow, OutboxRow, RoundRow, TrayRow
from tests.engine.engine_district import district
from tests.engine.engine_morning import DAY, Receivers, at, broken_streams, messages, play_to

ROOMS, CHILDREN = 100, 3
AT_MOST = 150
"""Statements for a bell of a hundred rounds, begin and commit among them."""


@contextmanager
def counted(desk: Desk) -> Iterator[list[str]]:
    """The statements that reach the database meanwhile."""
    said: list[str] = []

    def hear(_connection: Any, _cursor: Any, statement: str, *_more: Any) -> None:
        said.append(statement)

    event.listen(desk.store._engine, "before_cursor_execute", hear)
    yield said
    event.remove(desk.store._engine, "before_cursor_execute", hear)


def before_the_bell(desk: Desk, clock: SteppedClock, rooms: int) -> None:
    commands.configure(desk, district(1, rooms, CHILDREN), "test")
    play_to(desk, "08:04", Receivers())
    clock.move_to(at("08:05"))


def test_a_bell_of_a_hundred_rounds_takes_a_bounded_number_of_statements(
    desk: Desk, clock: SteppedClock
) -> None:
    before_the_bell(desk, clock, ROOMS)
    with counted(desk) as said:
        running.run_due(desk, clock.now())
    assert len(said) < AT_MOST, Counter(s[:60] for s in said).most_common(10)


def test_what_a_bell_writes_is_whole(desk: Desk, clock: SteppedClock) -> None:
    before_the_bell(desk, clock, rooms=12)
    running.run_due(desk, clock.now())
    today = date.fromisoformat(DAY)
    with desk.store.reading() as tx:
        rounds = {row.id: row for row in tx.exec(select(RoundRow).where(RoundRow.date == today))}
        checks = list(tx.exec(select(CheckRow).where(CheckRow.date == today)))
        begun = {row.check_id: row for row in tx.exec(select(ChaseRow))}
        tray = {row.chase_id: row for row in tx.exec(select(TrayRow))}
        prompts = {row.id: row for row in tx.exec(select(OutboxRow))}
        noted = Counter(tx.exec(select(JournalRow.kind).where(col(JournalRow.at) == clock.now())))
    assert len(checks) == len(begun) == len(tray) == 12 * CHILDREN
    assert {row.state for row in rounds.values()} == {"asked"}
    assert {row.asked_at for row in rounds.values()} == {clock.now()}
    for check in checks:
        chase = begun[check.id]
        prompt = prompts[tray[chase.id].outbox_id or ""]
        assert check.state == "asked"
        assert prompt.person == rounds[check.round_id].checker
        assert prompt.thread == check.round_id
        assert chase.id in prompt.body["chases"]
        assert chase.body["chase"]["told"][0]["posted"] == clock.now().isoformat()
    assert len(prompts) == len(rounds) == 12
    assert noted == {"asked": 12, "chase": 12 * CHILDREN, "put out": 12}
    assert broken_streams(desk) == []


def test_in_one_moment_what_was_changed_is_read_as_it_now_is(desk: Desk, clock: SteppedClock) -> None:
    before_the_bell(desk, clock, rooms=1)
    running.run_due(desk, clock.now())
    with desk.moment() as m:
        row = m.tx.exec(select(ChaseRow).order_by(col(ChaseRow.id))).first()
        assert row is not None
        change(m.tx, row, phase="over", ended_at=m.now)
        change(m.tx, row, step=7)
        assert (row.phase, row.step) == ("over", 7)
        assert row.id not in chases.open_ids(m.tx)
        m.tx.expire_all()
        assert (row.phase, row.ended_at, row.step) == ("over", m.now, 7)


def test_a_prompt_goes_out_with_the_asking_and_by_no_other_commit(desk: Desk, clock: SteppedClock) -> None:
    before_the_bell(desk, clock, rooms=12)
    prompter.ask_due(desk, clock.now())
    asked = messages(desk.store)
    running.run_due(desk, clock.now())
    assert [row.purpose for row in asked] == ["prompt"] * 12
    assert [row.id for row in messages(desk.store)] == [row.id for row in asked]
    assert broken_streams(desk) == []


def test_a_prompt_to_somebody_for_whom_something_waits_goes_with_it_as_one(
    desk: Desk, clock: SteppedClock
) -> None:
    made = district(1, 2, 1)
    early, late = made["students"]["school000-room0-child0"], made["students"]["school000-room1-child0"]
    early["routines"]["morning"]["when"] = {"at": "07:55"}
    late["routines"]["morning"]["checker"] = "school000-second"
    commands.configure(desk, made, "test")
    # At 08:05 the silence of the early one reaches the second checker, who is asked about the other then.
    play_to(desk, "08:04", Receivers())
    clock.move_to(at("08:05"))
    running.run_due(desk, clock.now())
    told = [row for row in messages(desk.store) if row.person == "school000-second"]
    assert len(told) == 1
    assert len(told[0].body["chases"]) == 2
    assert broken_streams(desk) == []


def test_somebody_with_two_rounds_at_one_bell_gets_one_message_in_whatever_batches_they_fall(
    desk: Desk, clock: SteppedClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = district(2, 2, 1)
    for school in ("school000", "school001"):
        made["students"][f"{school}-room0-child0"]["routines"]["morning"]["checker"] = "school000-room0"
    made["people"]["school000-room0"]["roles"] = [{"checker": ["school000", "school001"]}]
    monkeypatch.setattr(prompter, "BATCH", 2)
    commands.configure(desk, made, "test")
    play_to(desk, "08:04", Receivers())
    clock.move_to(at("08:05"))
    running.run_due(desk, clock.now())
    told = Counter(row.person for row in messages(desk.store))
    assert told == {"school000-room0": 1, "school000-room1": 1, "school001-room1": 1}
    assert broken_streams(desk) == []
