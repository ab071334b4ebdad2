"""A service on a restored copy: it plans and takes what comes in, and asks and tells again only by somebody's word."""

from pathlib import Path

import pytest

from service.engine import commands, held, planner, postman, releasing, running
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.store import identity, inbox, marks
from service.store.base import Store
from tests.engine.engine_district import district
from tests.engine.engine_morning import (
    Receivers,
    at,
    broken_streams,
    messages,
    open_desk,
    play_to,
    results,
    says,
    step,
    told,
)
from tests.store.conftest import database_url, new_name, on_server

CHECKER, OTHER, SECOND = "school000-room0", "school000-room1", "school000-second"
SINCE, UNTIL = "08:07", "08:40"


def later_round(documents: dict[str, dict[str, dict[str, object]]]) -> dict[str, dict[str, dict[str, object]]]:
    """Room 1 is asked at 08:30, and room 0 once more at 09:00."""
    child = documents["students"]["school000-room1-child0"]
    child["routines"]["morning"]["when"] = {"at": "08:30"}  # type: ignore[index]
    first = documents["students"]["school000-room0-child0"]["routines"]
    first["noon"] = {**first["morning"], "when": {"at": "09:00"}}  # type: ignore[index]
    return documents


@pytest.fixture
def restored(desk: Desk, clock: SteppedClock) -> Desk:
    """A morning as a backup of 08:07 knows it, put in place at 08:40: one child has a sore ear, the audiologist's
    alert and the answer to its reporter were claimed and not sent, another child was not answered for yet.
    """
    commands.configure(desk, later_round(district(rooms=2, children=2)), "test")  # type: ignore[arg-type]
    play_to(desk, "08:06:30", Receivers())
    says(desk, CHECKER, "1 sore", "m1")
    clock.move_to(at(SINCE))
    running.run_due(desk, clock.now())
    assert [e.person for e in postman.claim(desk, clock.now()) if e.purpose == "alert"]
    with desk.moment() as m:
        marks.set(m.tx, held.HEARTBEAT, m.now, {})
    clock.move_to(at(UNTIL))
    with desk.moment() as m:
        held.hold(m, "restored from a backup", "C")
    return desk


def monday(desk: Desk) -> dict[str, str | None]:
    return {id[3:-11]: r for id, r in results(desk.store).items() if id.endswith("2026-10-05")}


def sent_after(desk: Desk, receivers: Receivers) -> list[tuple[str, str]]:
    return sorted({(m.person, m.purpose) for m in messages(desk.store) if m.id in receivers.arrived})


def test_while_held_it_plans_and_stores_and_neither_asks_nor_sends(restored: Desk, clock: SteppedClock) -> None:
    before = messages(restored.store)
    says(restored, CHECKER, "2 ok", "m3")
    clock.move_to(at("09:30"))
    planner.plan_all(restored)

    assert running.run_due(restored, clock.now()) == 0
    assert postman.claim(restored, clock.now()) == []
    assert running.next_due(restored) is None
    assert messages(restored.store) == before
    with restored.store.reading() as tx:
        assert inbox.has_unread(tx)


def sends(desk: Desk, receivers: Receivers) -> list[postman.Errand]:
    """What leaves in the pass after something came in."""
    before = len(receivers.every)
    step(desk, desk.clock.now(), receivers)
    return receivers.every[before:]


def test_who_reports_an_emergency_meanwhile_reads_what_to_do_and_that_nobody_else_is_told(restored: Desk) -> None:
    receivers = Receivers()
    says(restored, CHECKER, "1 ok", "m3")
    says(restored, OTHER, "a child swallowed the battery", "m4")

    (sent,) = sends(restored, receivers)

    assert (sent.person, sent.purpose) == (OTHER, "caution")
    assert sent.text.startswith("Call 911 now\nThis service tells nobody at this moment.")
    assert sends(restored, receivers) == []
    assert running.next_due(restored) is None
    with restored.store.reading() as tx:
        assert inbox.has_unread(tx)


def test_every_report_is_answered_once_and_a_refused_answer_is_tried_again(restored: Desk, clock: SteppedClock) -> None:
    says(restored, CHECKER, "2 swallowed the battery", "m3")
    running.run_due(restored, clock.now())
    (errand,) = postman.claim(restored, clock.now())
    postman.record(restored, errand, postman.Report(postman.Outcome.TIMED_OUT), clock.now())
    due = running.next_due(restored)
    assert due is not None
    clock.move_to(due)
    assert [e.id for e in sends(restored, Receivers())] == [errand.id]
    says(restored, OTHER, "a child swallowed a battery", "m4")
    assert [e.person for e in sends(restored, Receivers())] == [OTHER]


def test_once_released_the_emergency_is_told_to_everybody(restored: Desk) -> None:
    receivers = Receivers()
    says(restored, OTHER, "a child swallowed the battery", "m4")
    sends(restored, receivers)
    releasing.release(restored, send=False, by="C")
    told_now = {(e.person, e.purpose) for e in sends(restored, receivers)}
    assert {("A", "alert"), ("C", "alert"), ("school000-office", "alert"), (OTHER, "caution")} <= told_now
    assert set(receivers.arrived.values()) == {1}
    assert broken_streams(restored) == []


def test_what_nobody_can_know_is_listed_without_an_alias(restored: Desk) -> None:
    with restored.glance() as m:
        state = held.held(m.tx)
        assert state is not None
        assert (state.since, state.until) == (at(SINCE), at(UNTIL))
        lines = list(releasing.unknown(m, state).lines(m))
    text = "\n".join(lines)
    assert f"{OTHER} may have been asked (rd-school000-2026-10-05-0830-{OTHER})" in text
    assert "ck-school000-room0-child1-morning-2026-10-05 was asked before and may have been answered" in text
    assert "may have left" in text
    assert "Tree" not in text
    assert "0900" not in text


def test_released_to_send_it_goes_on_as_after_a_downtime(restored: Desk) -> None:
    claimed = {m.id for m in messages(restored.store) if m.state == "claimed"}
    says(restored, CHECKER, "2 ok", "m3")
    assert releasing.release(restored, send=True, by="C") == releasing.Let()
    receivers = Receivers()
    step(restored, at(UNTIL), receivers)
    assert claimed <= receivers.arrived.keys()
    assert monday(restored)["school000-room0-child1-morning"] == "working"
    assert OTHER in {m.person for m in messages(restored.store) if m.purpose == "prompt"}
    play_to(restored, "09:55", receivers)
    assert set(receivers.arrived.values()) == {1}
    assert None not in monday(restored).values()
    assert broken_streams(restored) == []


def test_released_to_skip_nothing_of_the_unknown_time_is_sent_or_held_against_anybody(restored: Desk) -> None:
    before = told(restored.store)
    done = releasing.release(restored, send=False, by="C")
    assert done is not None
    assert (done.checks, done.messages) == (3, 2)
    receivers = Receivers()
    step(restored, at(UNTIL), receivers)
    assert receivers.arrived == {}
    unknown = ["school000-room0-child1-morning", "school000-room1-child0-morning"]
    assert {monday(restored)[c] for c in unknown} == {"not asked"}
    assert told(restored.store) == before

    play_to(restored, "09:01", receivers)
    assert (CHECKER, "prompt") in sent_after(restored, receivers)
    assert OTHER not in {person for person, _ in sent_after(restored, receivers)}
    play_to(restored, "09:55", receivers)
    assert monday(restored)["school000-room1-child0-morning"] == "not asked"
    assert None not in monday(restored).values()
    assert broken_streams(restored) == []


def test_a_fault_that_was_open_goes_on_as_if_no_time_had_passed(restored: Desk) -> None:
    releasing.release(restored, send=False, by="C")
    receivers = Receivers()
    play_to(restored, "08:41:30", receivers)
    assert not {p for p, purpose in sent_after(restored, receivers) if purpose == "alert"}
    play_to(restored, "08:50", receivers)
    assert ("C", "alert") in sent_after(restored, receivers)


def test_who_held_and_who_released_it_is_in_the_journal(restored: Desk) -> None:
    releasing.release(restored, send=False, by="C")
    with restored.glance() as m:
        entries = [e.entry for e in restored.journal.read(m.tx, held.STREAM)]
    assert [(e.kind, e.actor) for e in entries] == [("held", "C"), ("released", "C")]
    assert entries[1].body["how"] == "skip"
    assert entries[1].body["checks"] == 3


def test_a_service_that_is_not_held_is_not_released_and_a_held_one_is_held_once(restored: Desk) -> None:
    with restored.moment() as m:
        held.hold(m, "again", None)
    with restored.glance() as m:
        assert held.held(m.tx).why == "restored from a backup"  # type: ignore[union-attr]
    assert releasing.release(restored, send=True, by="C") is not None
    assert releasing.release(restored, send=True, by="C") is None


def test_days_that_passed_without_the_service_have_their_checks_in_the_record(
    restored: Desk, clock: SteppedClock
) -> None:
    with restored.moment() as m:
        marks.drop(m.tx, held.HELD)
    clock.move_to(at("10:00", "2026-10-08"))
    with restored.moment() as m:
        held.hold(m, "restored from a backup", "C")
    releasing.release(restored, send=False, by="C")
    receivers = Receivers()
    step(restored, clock.now(), receivers)
    wednesday = {r for id, r in results(restored.store).items() if id.endswith("2026-10-07")}
    assert wednesday == {"not asked"}
    assert receivers.arrived == {}


@pytest.fixture
def served(tmp_path: Path, clock: SteppedClock) -> Desk:
    """An SQLite database that was served from, three heartbeats long."""
    store = Store(f"sqlite:///{tmp_path / 'served.db'}")
    store.upgrade()
    desk = open_desk(store, clock)
    for _ in range(3):
        held.settle(desk)
    return desk


def copied(desk: Desk, to: Path) -> Desk:
    source = Path(str(desk.store.url.database))
    desk.store.close()
    to.write_bytes(source.read_bytes())
    return open_desk(Store(f"sqlite:///{to}"), desk.clock)  # type: ignore[arg-type]


def test_a_database_started_again_where_it_was_is_not_held(served: Desk) -> None:
    assert held.look(served) is None


def test_a_copy_in_another_place_is_held(served: Desk, tmp_path: Path) -> None:
    found = held.look(copied(served, tmp_path / "copy.db"))
    assert found is not None
    assert "in another place" in found.why


def test_an_older_copy_put_back_by_hand_is_held_until_it_is_released(served: Desk, tmp_path: Path) -> None:
    place = Path(str(served.store.url.database))
    copied(served, tmp_path / "copy.db").store.close()
    held.settle(served)
    served.store.close()
    place.write_bytes((tmp_path / "copy.db").read_bytes())
    found = held.look(served)
    assert found is not None
    assert "older" in found.why
    commands.configure(served, district(), "test")
    releasing.release(served, send=True, by="C")
    assert held.look(served) is None


def test_another_database_in_its_place_is_held(served: Desk, tmp_path: Path, clock: SteppedClock) -> None:
    identity.count_beside(served.store, "i-somebody-else", 2)
    found = held.look(served)
    assert found is not None
    assert "another database" in found.why


def test_a_file_beside_that_says_nothing_counts_as_none(served: Desk) -> None:
    beside = identity.beside(served.store)
    assert beside is not None
    beside.write_text("")
    assert held.look(served) is not None


@pytest.mark.postgres
def test_on_postgresql_a_database_that_lies_elsewhere_is_held(postgresql_url: str, clock: SteppedClock) -> None:
    desk = open_desk(Store(postgresql_url), clock)
    held.settle(desk)
    assert held.look(desk) is None
    desk.store.close()
    name = new_name()
    on_server(f"CREATE DATABASE {name} TEMPLATE {desk.store.url.database}")
    try:
        other = open_desk(Store(database_url(name).render_as_string(hide_password=False)), clock)
        assert held.look(other) is not None
        other.store.close()
    finally:
        on_server(f"DROP DATABASE {name} WITH (FORCE)")
