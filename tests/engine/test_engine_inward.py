"""Messages that come in together share a commit; none is answered before the commit that holds it."""

import json
from concurrent.futures import Future, wait
from datetime import UTC, datetime
from threading import Event

import pytest
from sqlmodel import select
from standardwebhooks import Webhook

from service.engine import commands, inward
from service.engine.desk import Desk
from service.engine.inward import Arrival, Refused, Taken
from service.engine.together import Together
from service.store.tables import InboxRow
from tests.engine.engine_district import district
from tests.engine.lanes_made import CHAT_SECRET

NOW = datetime(2026, 10, 5, 13, 5, tzinfo=UTC)
AT_ONCE = 20


def arrival(id: str, text: str = "ok", channel: str = "chat") -> Arrival:
    """A message as a chat tool would send it, signed by the published reference library."""
    body = json.dumps({"from": "a-room", "text": text})
    headers = {
        "webhook-id": id,
        "webhook-timestamp": str(int(NOW.timestamp())),
        "webhook-signature": Webhook(CHAT_SECRET).sign(id, NOW, body),
    }
    return Arrival(channel, headers, body.encode(), NOW)


def stored(desk: Desk) -> list[InboxRow]:
    with desk.store.reading() as tx:
        return list(tx.exec(select(InboxRow).order_by(InboxRow.external_id)))


@pytest.fixture
def door(desk: Desk) -> inward.Inward:
    commands.configure(desk, district(), "C")
    return inward.Inward(desk, {"CHAT": CHAT_SECRET}.get)


class Held:
    """Holds the first commit back until it is let go, and counts all."""

    def __init__(self, desk: Desk) -> None:
        self.reached, self.go, self.commits = Event(), Event(), 0
        desk.store.on_commit = self._on_commit

    def _on_commit(self, moment: str) -> None:
        if moment == "before commit":
            self.commits += 1
            self.reached.set()
            assert self.go.wait(10)


def test_what_comes_while_a_commit_is_under_way_shares_the_next_and_none_is_answered_before_its_own(
    desk: Desk, door: inward.Inward
) -> None:
    held = Held(desk)
    first = door.take(arrival("m-00"))
    assert held.reached.wait(10)
    others = [door.take(arrival(f"m-{n:02}")) for n in range(1, AT_ONCE)]
    assert not first.done()
    held.go.set()

    answers = [each.result(10) for each in (first, *others)]

    assert held.commits == 2
    assert all(isinstance(answer, Taken) and answer.new for answer in answers)
    assert [(row.external_id, row.id) for row in stored(desk)] == [
        (f"m-{n:02}", answer.id) for n, answer in enumerate(answers) if isinstance(answer, Taken)
    ]


def test_what_is_ended_before_its_commit_is_not_acknowledged_and_comes_again_as_new(
    desk: Desk, door: inward.Inward
) -> None:
    def ended(moment: str) -> None:
        if moment == "before commit":
            raise OSError("the process ends here")

    desk.store.on_commit = ended
    lost = [door.take(arrival(f"m-{n}")) for n in range(3)]
    assert all(isinstance(each.exception(10), OSError) for each in lost)
    assert stored(desk) == []

    desk.store.on_commit = None
    again = [door.take(arrival(f"m-{n}")).result(10) for n in range(3)]
    assert [isinstance(a, Taken) and a.new for a in again] == [True] * 3


def test_a_message_that_comes_twice_in_one_commit_is_one_and_both_are_answered_alike(
    desk: Desk, door: inward.Inward
) -> None:
    held = Held(desk)
    door.take(arrival("before"))
    assert held.reached.wait(10)
    twice = [door.take(arrival("m-1", text)) for text in ("ok", "2 cable")]
    held.go.set()

    first, second = (each.result(10) for each in twice)

    assert isinstance(first, Taken)
    assert isinstance(second, Taken)
    assert (first.id, first.new, second.new) == (second.id, True, False)
    assert [row.text for row in stored(desk) if row.external_id == "m-1"] == ["ok"]


def test_a_message_that_is_refused_keeps_none_of_its_commit_from_being_stored(
    desk: Desk, door: inward.Inward
) -> None:
    held = Held(desk)
    door.take(arrival("before"))
    assert held.reached.wait(10)
    refused, good = door.take(arrival("m-1", channel="pigeon")), door.take(arrival("m-2"))
    held.go.set()

    assert isinstance(refused.result(10), Refused)
    assert isinstance(good.result(10), Taken)
    assert [row.external_id for row in stored(desk)] == ["before", "m-2"]


def test_who_gives_up_waiting_stops_nobody_and_one_that_fails_fails_alone() -> None:
    begun, go = Event(), Event()

    def work(asked: "list[int]") -> list[int]:
        begun.set()
        assert go.wait(10)
        return [100 // each for each in asked]

    together: Together[int, int] = Together(work)
    first = together.ask(1)
    assert begun.wait(10)
    gone, bad, good = together.ask(2), together.ask(0), together.ask(4)
    assert gone.cancel()
    go.set()
    wait([first, bad, good], 10)

    assert (first.result(), good.result()) == (100, 25)
    assert isinstance(bad.exception(), ZeroDivisionError)
    last: Future[int] = together.ask(5)
    assert last.result(10) == 20
