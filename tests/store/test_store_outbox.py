"""Messages to send: one per key, one sender at a time, nothing overtaken, nothing told by a late finisher."""

from collections import Counter
from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest
from sqlmodel import Session
from store_rows import EIGHT, a_message, minutes
from store_together import together

from service.store import outbox
from service.store.base import Store
from service.store.tables import OutboxRow


def put(store: Store, *rows: OutboxRow) -> list[bool]:
    with store.transaction() as tx:
        return [row.key in outbox.put(tx, {row.key: (row.model_dump(), [])}) for row in rows]


def claim(store: Store, now: datetime, owner: str = "north", **more: Any) -> list[str]:
    with store.transaction() as tx:
        wanted = {"limit": 10, "lease_until": minutes(100)} | more
        return [row.id for row in outbox.claim(tx, now, owner, **wanted)]


def finish(store: Store, id: str, owner: str = "north", state: str = "accepted", **more: Any) -> bool:
    with store.transaction() as tx:
        return outbox.finish(tx, [outbox.Finish(id, state, **more)], owner, minutes(1)) == 1


def message(store: Store, id: str = "msg-1") -> OutboxRow:
    with store.reading() as tx:
        return tx.get_one(OutboxRow, id)


def asked(store: Store, question: Callable[[Session], Any]) -> Any:
    with store.reading() as tx:
        return question(tx)


def test_a_second_message_with_the_same_key_is_not_made(store: Store) -> None:
    assert put(store, a_message("msg-1", key="k", text="first")) == [True]
    assert put(store, a_message("msg-2", key="k", text="second")) == [False]
    with store.reading() as tx:
        assert tx.get(OutboxRow, "msg-2") is None
        assert tx.get(OutboxRow, "msg-1").text == "first"


def test_within_one_transaction_too_the_first_of_a_key_stands(store: Store) -> None:
    assert put(store, a_message("msg-1", key="k"), a_message("msg-2", key="k")) == [True, False]


def test_a_message_says_for_which_chases_it_speaks(store: Store) -> None:
    first, second = a_message("msg-1"), a_message("msg-0", created_at=minutes(1))
    with store.transaction() as tx:
        outbox.put(
            tx,
            {
                first.key: (first.model_dump(), ["chase-2", "chase-1"]),
                second.key: (second.model_dump(), ["chase-1"]),
                "none": (a_message("msg-3", key="none").model_dump(), []),
            },
        )
    with store.reading() as tx:
        known = outbox.unfinished(tx, ["chase-1", "chase-2"])
    assert outbox.last_of(known, first.person, ["chase-1"]) == "msg-0"
    assert outbox.last_of(known, first.person, ["chase-2"]) == "msg-1"
    assert outbox.last_of(known, "somebody else", ["chase-2"]) is None


def test_messages_are_claimed_from_their_instant_on_earliest_first(store: Store) -> None:
    put(
        store,
        a_message("msg-3", next_at=minutes(3)),
        a_message("msg-1", next_at=minutes(1)),
        a_message("msg-2"),
    )
    assert claim(store, minutes(-1)) == []
    assert claim(store, minutes(2)) == ["msg-2", "msg-1"]
    assert claim(store, minutes(3)) == ["msg-3"]


def test_no_more_are_claimed_than_wanted(store: Store) -> None:
    put(store, *[a_message(f"msg-{n}") for n in range(5)])
    assert claim(store, EIGHT, limit=2) == ["msg-0", "msg-1"]
    assert claim(store, EIGHT, limit=10) == ["msg-2", "msg-3", "msg-4"]


def test_a_claimed_message_bears_its_owner_its_lease_and_the_attempt(store: Store) -> None:
    put(store, a_message())
    claim(store, EIGHT, lease_until=minutes(1))
    row = message(store)
    assert (row.state, row.owner, row.lease_until, row.attempts) == ("claimed", "north", minutes(1), 1)


def test_a_claimed_message_is_nobody_elses_until_its_lease_is_over(store: Store) -> None:
    put(store, a_message())
    assert claim(store, EIGHT, "north", lease_until=minutes(1)) == ["msg-1"]
    assert claim(store, minutes(0.9), "south") == []
    assert claim(store, minutes(1), "south") == ["msg-1"]
    assert message(store).attempts == 2


def test_leases_may_be_judged_by_another_clock_than_due_times(store: Store) -> None:
    put(store, a_message())
    claim(store, EIGHT, "north", lease_until=minutes(1))
    assert claim(store, minutes(60), "south", lease_now=minutes(0.5)) == []
    assert claim(store, minutes(60), "south", lease_now=minutes(1)) == ["msg-1"]


def test_two_instances_never_claim_the_same_message(opened: Any) -> None:
    stores = [opened(wait=20), opened(wait=20)]
    put(stores[0], *[a_message(f"msg-{n:03}") for n in range(200)])
    claimed: Counter[str] = Counter()

    def work(store: Store, owner: str) -> None:
        while batch := claim(store, EIGHT, owner, limit=7):
            claimed.update(batch)

    together(*[lambda n=n: work(stores[n % 2], f"lane-{n}") for n in range(4)])
    assert len(claimed) == 200
    assert set(claimed.values()) == {1}


def test_what_there_is_no_room_for_is_left_however_early_it_is(store: Store) -> None:
    flood = [a_message(f"bad-{n}", channel="chat", address="hangs") for n in range(30)]
    put(store, *flood, a_message("good", channel="chat", address="answers", next_at=minutes(1)))
    room = outbox.Room(address=2)
    assert claim(store, minutes(2), room=room) == ["bad-0", "bad-1"]
    room = outbox.Room(address=2, held={("chat", "hangs"): 2})
    assert claim(store, minutes(2), room=room) == ["good"]
    assert claim(store, minutes(2), room=room) == []


def test_of_a_channel_no_more_is_claimed_than_there_is_room_for(store: Store) -> None:
    for channel in ("chat", "mail"):
        put(store, *(a_message(f"{channel}-{n}", channel=channel, address=f"to-{n}") for n in range(3)))
    assert claim(store, EIGHT, room=outbox.Room(scarce={"chat": 0}, channel=2)) == ["mail-0", "mail-1"]
    assert claim(store, EIGHT, room=outbox.Room(scarce={"chat": 1})) == ["chat-0", "mail-2"]


def test_many_are_finished_in_one_statement_and_those_that_were_lost_stay(store: Store) -> None:
    put(store, *(a_message(f"msg-{n}") for n in range(4)))
    claim(store, EIGHT, "north", limit=3)
    claim(store, EIGHT, "south")
    finished = [outbox.Finish(f"msg-{n}", "accepted", attempt=1) for n in range(4)]
    with store.transaction() as tx:
        assert outbox.finish(tx, finished, "north", minutes(1)) == 3
    assert [message(store, f"msg-{n}").state for n in range(4)] == [*["accepted"] * 3, "claimed"]


@pytest.mark.postgres
def test_on_postgresql_a_message_in_another_hand_is_passed_over_without_waiting(postgresql_url: str) -> None:
    one, other = Store(postgresql_url), Store(postgresql_url, wait=0.2)
    put(one, a_message("msg-1"), a_message("msg-2"))
    with one.transaction() as tx:
        assert [row.id for row in outbox.claim(tx, EIGHT, "north", minutes(1), 1)] == ["msg-1"]
        assert claim(other, EIGHT, "south") == ["msg-2"]
    one.close()
    other.close()


def test_what_became_of_it_is_recorded_by_who_holds_the_lease(store: Store) -> None:
    put(store, a_message())
    claim(store, EIGHT)
    assert finish(store, "msg-1", outcome="250 taken")
    row = message(store)
    assert (row.state, row.accepted_at, row.outcome) == ("accepted", minutes(1), "250 taken")
    assert (row.owner, row.lease_until) == (None, None)


def test_only_an_accepted_message_has_an_instant_of_acceptance(store: Store) -> None:
    put(store, a_message())
    claim(store, EIGHT)
    assert finish(store, "msg-1", state="refused", outcome="550 no such box")
    assert message(store).accepted_at is None


def test_a_late_finisher_changes_nothing(store: Store) -> None:
    put(store, a_message())
    claim(store, EIGHT, "north", lease_until=minutes(1))
    claim(store, minutes(2), "south")
    assert not finish(store, "msg-1", "north", "refused", outcome="late")
    row = message(store)
    assert (row.state, row.owner, row.outcome) == ("claimed", "south", None)
    assert finish(store, "msg-1", "south", "accepted")
    assert not finish(store, "msg-1", "north", "refused")
    assert message(store).state == "accepted"


def test_an_earlier_attempt_of_the_same_owner_changes_nothing_either(store: Store) -> None:
    put(store, a_message())
    claim(store, EIGHT, "north", lease_until=minutes(1))
    claim(store, minutes(2), "north")
    assert not finish(store, "msg-1", "north", "refused", attempt=1)
    assert finish(store, "msg-1", "north", "accepted", attempt=2)


def test_a_message_to_try_again_waits_for_its_next_instant(store: Store) -> None:
    put(store, a_message())
    claim(store, EIGHT)
    assert finish(store, "msg-1", state="waiting", next_at=minutes(5), outcome="451 later")
    assert claim(store, minutes(4)) == []
    assert claim(store, minutes(5)) == ["msg-1"]


@pytest.mark.parametrize("end", ["accepted", "refused", "timed_out", "dropped"])
def test_news_does_not_leave_before_its_alert_is_finished(store: Store, end: str) -> None:
    put(store, a_message("news", after_id="alert"), a_message("alert", next_at=minutes(2)))
    assert claim(store, minutes(1)) == []
    assert claim(store, minutes(2)) == ["alert"]
    assert claim(store, minutes(3)) == []
    finish(store, "alert", state=end)
    assert claim(store, minutes(3)) == ["news"]


def test_while_the_alert_is_tried_again_the_news_waits(store: Store) -> None:
    put(store, a_message("alert"), a_message("news", after_id="alert"))
    claim(store, EIGHT)
    finish(store, "alert", state="waiting", next_at=minutes(5))
    assert claim(store, minutes(4)) == []


def test_a_message_after_one_that_is_gone_is_not_held_back_forever(store: Store) -> None:
    put(store, a_message("news", after_id="never-made"))
    assert claim(store, EIGHT) == ["news"]


def test_the_next_instant_is_of_the_earliest_message_that_may_leave(store: Store) -> None:
    assert asked(store, outbox.next_at) is None
    put(store, a_message("news", after_id="alert"), a_message("alert", next_at=minutes(4)))
    assert asked(store, outbox.next_at) == minutes(4)
    claim(store, minutes(4))
    assert asked(store, outbox.next_at) is None
    finish(store, "alert")
    assert asked(store, outbox.next_at) == EIGHT


def test_the_next_lease_to_run_out_is_known(store: Store) -> None:
    put(store, a_message("msg-1"), a_message("msg-2"))
    assert asked(store, outbox.next_lease) is None
    claim(store, EIGHT, limit=1, lease_until=minutes(3))
    claim(store, EIGHT, limit=1, lease_until=minutes(2))
    assert asked(store, outbox.next_lease) == minutes(2)


def drop(store: Store, owner: str | None = None) -> bool:
    with store.transaction() as tx:
        return outbox.drop(tx, "msg-1", "settled meanwhile", owner)


def test_a_waiting_message_can_be_withdrawn_with_its_reason(store: Store) -> None:
    put(store, a_message())
    assert drop(store)
    assert (message(store).state, message(store).outcome) == ("dropped", "settled meanwhile")
    assert claim(store, minutes(9)) == []


def test_what_another_is_sending_cannot_be_withdrawn_what_oneself_holds_can(store: Store) -> None:
    put(store, a_message())
    claim(store, EIGHT, "north")
    assert not drop(store)
    assert not drop(store, "south")
    assert message(store).state == "claimed"
    assert drop(store, "north")
    assert not finish(store, "msg-1", "north")


def test_what_was_accepted_cannot_be_withdrawn(store: Store) -> None:
    put(store, a_message())
    claim(store, EIGHT)
    finish(store, "msg-1")
    assert not drop(store)
    assert message(store).state == "accepted"
