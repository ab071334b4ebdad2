"""Presses on pages share commits with each other and with webhooks; each is stored first, and fails alone."""

from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor, wait

import pytest

from service.core.reading import Command, Outcome, Reading, Result
from service.engine import commands, hearing
from service.engine.answering import Heard
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.engine.inward import Inward
from service.engine.pressing import Pressing
from service.store import rounds
from service.store.tables import InboxRow
from tests.engine.conftest import Opener
from tests.engine.engine_district import district
from tests.engine.engine_morning import DAY, Receivers, broken_streams, play_to, results
from tests.engine.lanes_made import CHAT_SECRET
from tests.engine.test_engine_inward import Held, arrival, stored

ROOMS = 20
ROUND = "rd-school000-2026-10-05-0805-school000-room{}"
CHECK = "ck-school000-room{}-child0-morning-2026-10-05"
WORKING = {1: Outcome(Result.WORKING)}

Presser = Callable[..., "Future[Heard]"]


@pytest.fixture
def asked(desk: Desk, clock: SteppedClock) -> Desk:
    """Twenty rooms were asked at the bell, one student each."""
    commands.configure(desk, district(rooms=ROOMS, children=1), "C")
    play_to(desk, "08:05", Receivers())
    return desk


@pytest.fixture
def door(asked: Desk) -> Inward:
    return Inward(asked, {"CHAT": CHAT_SECRET}.get)


@pytest.fixture
def press(asked: Desk, door: Inward) -> Iterator[Presser]:
    """Somebody presses "working", or what else is given, in a thread as the web server has them."""
    pressing = Pressing(asked, door)
    with ThreadPoolExecutor(ROOMS) as pool:

        def one(room: int, id: str | None = None, reading: Reading | None = None) -> "Future[Heard]":
            return pool.submit(
                commands.press, asked, f"school000-room{room}", ROUND.format(room), WORKING, id or f"p{room}",
                reading=reading, shown=True, through=pressing,
            )  # fmt: skip

        yield one


def presses(desk: Desk) -> dict[str, str]:
    return {row.external_id: row.state for row in stored(desk) if row.channel == "page"}


def test_presses_share_commits_with_each_other_and_with_what_programs_send(
    asked: Desk, door: Inward, press: Presser
) -> None:
    held = Held(asked)
    first = door.take(arrival("m-0"))
    assert held.reached.wait(10)
    pressed = [press(room) for room in range(ROOMS)]
    program = door.take(arrival("m-1"))
    assert not any(each.done() for each in (first, program, *pressed))
    held.go.set()

    assert [each.result(20).recorded != [] for each in pressed] == [True] * ROOMS
    # By themselves they would be two commits for each.
    assert held.commits <= ROOMS
    assert set(presses(asked).values()) == {"read"}
    assert {result for id, result in results(asked.store).items() if id.endswith(DAY)} == {"working"}
    assert broken_streams(asked) == []


def test_what_ends_before_its_commit_was_not_answered_and_can_be_pressed_again(asked: Desk, press: Presser) -> None:
    def ended(moment: str) -> None:
        if moment == "before commit":
            raise OSError("the process ends here")

    asked.store.on_commit = ended
    assert isinstance(press(0).exception(10), OSError)
    assert presses(asked) == {}

    asked.store.on_commit = None
    assert press(0).result(10).recorded
    assert results(asked.store)[CHECK.format(0)] == "working"


def test_a_press_that_fails_fails_alone_and_is_kept_for_the_next_pass(
    asked: Desk, press: Presser, monkeypatch: pytest.MonkeyPatch
) -> None:
    hear = hearing.hear

    def stumble(m: object, row: InboxRow, answered: object) -> Heard:
        if row.external_id == "p3":
            raise ZeroDivisionError
        return hear(m, row, answered)  # type: ignore[arg-type]

    monkeypatch.setattr(hearing, "hear", stumble)
    pressed = [press(room) for room in range(8)]
    wait(pressed, 20)

    failed = [n for n, each in enumerate(pressed) if each.exception()]
    assert failed == [3]
    assert {id: state for id, state in presses(asked).items() if state != "read"} == {"p3": "unread"}
    assert {n for n in range(8) if results(asked.store)[CHECK.format(n)] == "working"} == {0, 1, 2, 4, 5, 6, 7}


def test_two_presses_of_one_person_at_once_are_both_done_and_the_same_press_twice_is_one(
    asked: Desk, press: Presser
) -> None:
    held = Held(asked)
    same = [press(0, "p-same"), press(0, "p-same")]
    assert held.reached.wait(10)
    more = [press(1), press(1, "p-undo", Reading(command=Command.UNDO))]
    held.go.set()
    wait([*same, *more], 20)

    assert sorted(bool(each.result().recorded) for each in same) == [False, True]
    assert not any(each.exception() for each in more)
    assert presses(asked) == {"p-same": "read", "p1": "read", "p-undo": "read"}
    assert broken_streams(asked) == []


@pytest.mark.parametrize("url", [pytest.param("postgresql", marks=pytest.mark.postgres)], indirect=True)
def test_a_press_that_waits_for_another_instance_keeps_no_other_press_waiting(
    asked: Desk, press: Presser, opened: Opener
) -> None:
    other = opened("two")
    with other.moment() as m:
        rounds.lock_checks(m.tx, [CHECK.format(5)])
        pressed = [press(room) for room in range(10)]
        done, waits = wait(pressed, 3)
    assert waits == {pressed[5]}
    assert all(each.result(10).recorded for each in (*done, *waits))
