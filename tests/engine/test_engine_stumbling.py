"""One broken row stops nothing else: it waits, marked, and the others go on."""

from typing import Any

from sqlmodel import col, select

from service.engine import commands, planner
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.engine.health import health
from service.store import marks
from service.store.tables import ChaseRow, CheckRow, RoundRow, TrayRow
from tests.engine.engine_district import district
from tests.engine.engine_morning import Receivers, at, play_to

ROOMS = ("school000-room0", "school000-room1")


def _begin(desk: Desk) -> None:
    commands.configure(desk, district(rooms=2, children=1), "C")
    planner.plan_all(desk, at("08:00").date())


def _damage(desk: Desk, kind: type[Any], where: Any, **values: Any) -> None:
    with desk.store.transaction() as tx:
        row = tx.exec(select(kind).where(where)).one()
        for name, value in values.items():
            setattr(row, name, value)


def _trouble(desk: Desk) -> list[str]:
    with desk.glance() as m:
        return [mark.key for mark in marks.with_prefix(m.tx, "trouble/")]


def test_a_chase_nobody_can_read_does_not_silence_the_others(desk: Desk) -> None:
    _begin(desk)
    receivers = Receivers()
    play_to(desk, "08:06", receivers)
    with desk.glance() as m:
        broken = m.tx.exec(select(ChaseRow.id).order_by(ChaseRow.id)).first()
    _damage(desk, ChaseRow, ChaseRow.id == broken, body={"chase": {"nothing": "here"}})

    play_to(desk, "08:10", receivers)

    reminded = [p for p in ROOMS if receivers.last[p].purpose == "reminder"]
    assert len(reminded) == 1
    assert _trouble(desk) == [f"trouble/chase {broken}"]
    with desk.glance() as m:
        assert any("failed and wait" in wrong for wrong in health(m).wrongs)


def test_a_round_that_cannot_be_asked_does_not_keep_the_others_from_being_asked(desk: Desk) -> None:
    _begin(desk)
    broken = f"rd-school000-{at('08:00').date()}-0805-{ROOMS[0]}"
    _damage(desk, RoundRow, RoundRow.id == broken, school="nowhere")
    _damage(desk, CheckRow, CheckRow.round_id == broken, school="nowhere")

    receivers = Receivers()
    play_to(desk, "08:06", receivers)

    assert ROOMS[1] in receivers.last
    assert _trouble(desk) == [f"trouble/round {broken}"]


def test_a_tray_that_cannot_be_emptied_keeps_only_itself(desk: Desk) -> None:
    _begin(desk)
    receivers = Receivers()
    play_to(desk, "08:06", receivers)
    with desk.store.transaction() as tx:
        some = tx.exec(select(TrayRow).where(TrayRow.person == ROOMS[0])).first()
        assert some is not None
        copied = {**some.model_dump(), "key": "broken", "generation": 9, "outbox_id": None}
        tx.add(TrayRow(**{**copied, "body": {}, "not_before": at("08:09")}))

    play_to(desk, "08:10", receivers)

    assert receivers.last[ROOMS[1]].purpose == "reminder"
    assert receivers.last[ROOMS[0]].purpose == "prompt"
    assert _trouble(desk) == [f"trouble/tray {ROOMS[0]}"]


def test_a_school_that_cannot_be_planned_keeps_no_other_from_being_planned(desk: Desk) -> None:
    commands.configure(desk, district(schools=2, rooms=1, children=1), "C")
    play_to(desk, "08:06", Receivers())
    _damage(desk, RoundRow, col(RoundRow.id).startswith("rd-school000-2026-10-05"), body={"due": "nonsense"})
    assert isinstance(desk.clock, SteppedClock)
    desk.clock.move_to(at("07:00", "2026-10-06"))
    desk.planned.clear()

    assert planner.plan_all(desk, at("08:00").date()) == 0
    assert _trouble(desk) == ["trouble/plan school000"]
    assert planner.plan_all(desk) == 2
    assert set(desk.planned) == {"school000", "school001"}
