"""Many messages read in one transaction come to the same as one after the other, in a bounded number of statements."""

from pathlib import Path

from sqlalchemy import event

from service.engine import commands, hearing
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.store.base import Store
from tests.engine.engine_district import district
from tests.engine.engine_morning import (
    DAY,
    Receivers,
    at,
    broken_streams,
    messages,
    open_desk,
    play_to,
    results,
    says,
)

ROOMS = 40
WORDS = ("ok", "2 battery", "1 away, rest ok", "ok?", "2 cable, rest ok")


def _asked(desk: Desk) -> None:
    commands.configure(desk, district(rooms=ROOMS), "C")
    play_to(desk, "08:06", Receivers())


def _say(desk: Desk) -> None:
    for room in range(ROOMS):
        says(desk, f"school000-room{room}", WORDS[room % len(WORDS)], f"m{room:03}")


def _came_of_it(desk: Desk) -> tuple[object, ...]:
    answered = {m.id: (m.person, m.text, m.body["items"], m.body["chases"]) for m in messages(desk.store)}
    return answered, results(desk.store), broken_streams(desk)


def test_what_is_read_together_comes_to_the_same_as_what_is_read_one_by_one(desk: Desk, tmp_path: Path) -> None:
    alone = _of_one_by_one(tmp_path)
    _asked(desk)
    _say(desk)

    assert hearing.read_all(desk, desk.clock.now()) == ROOMS

    assert _came_of_it(desk) == alone


def _of_one_by_one(folder: Path) -> tuple[object, ...]:
    store = Store(f"sqlite:///{folder / 'alone.db'}")
    store.upgrade()
    desk = open_desk(store, SteppedClock(at("07:00")))
    _asked(desk)
    for room in range(ROOMS):
        says(desk, f"school000-room{room}", WORDS[room % len(WORDS)], f"m{room:03}")
        assert hearing.read_all(desk, desk.clock.now()) == 1
    found = _came_of_it(desk)
    store.close()
    return found


def test_forty_replies_take_few_statements(desk: Desk) -> None:
    _asked(desk)
    _say(desk)
    seen: list[str] = []
    event.listen(desk.store._engine, "before_cursor_execute", lambda _c, _k, text, *_: seen.append(text))

    hearing.read_all(desk, desk.clock.now())

    locking = desk.store.dialect == "postgresql"
    assert len(seen) < (20 if locking else 4) * ROOMS, len(seen)


def test_two_messages_of_one_person_are_read_in_their_order(desk: Desk) -> None:
    _asked(desk)
    for second, words in enumerate(("2 battery", "undo", "ok"), start=1):
        desk.clock.move_to(at(f"08:06:0{second}"))
        says(desk, "school000-room0", words, f"m{second}")

    assert hearing.read_all(desk, desk.clock.now()) == 3

    held = {check: result for check, result in results(desk.store).items() if "room0-" in check and DAY in check}
    assert set(held.values()) == {"working"}
