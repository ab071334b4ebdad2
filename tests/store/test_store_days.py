"""Rounds, checks, notices, chases and trays as the engine asks for them."""

from typing import Any

import pytest
from sqlmodel import select
from store_rows import DAY, EIGHT, a_chase, a_check, a_notice, a_round, a_tray, minutes
from store_together import together

from service.store import chases, notices, rounds, tray
from service.store.base import Store
from service.store.tables import AddresseeRow, ChaseRow, CheckRow, RoundRow, TrayRow

NEXT_DAY = DAY.replace(day=15)


def planned(store: Store, round_rows: list[RoundRow], check_rows: list[CheckRow]) -> tuple[int, int]:
    with store.transaction() as tx:
        return rounds.insert_many(
            tx, [row.model_dump() for row in round_rows], [row.model_dump() for row in check_rows]
        )


def test_planning_twice_changes_nothing(store: Store) -> None:
    day = [a_round("round-1"), a_round("round-2")], [a_check("check-1"), a_check("check-2")]
    assert planned(store, *day) == (2, 2)
    with store.transaction() as tx:
        tx.get(RoundRow, "round-1").state = "asked"
    assert planned(store, *day) == (0, 0)
    assert planned(store, [*day[0], a_round("round-3")], day[1]) == (1, 0)
    with store.reading() as tx:
        assert tx.get(RoundRow, "round-1").state == "asked"


def test_instances_that_plan_the_same_day_at_once_do_not_wait_in_a_circle(opened: Any) -> None:
    stores = [opened(wait=20), opened(wait=20)]
    rows = [a_round(f"round-{n:04}") for n in range(3000)]
    new: list[int] = []
    jobs = [lambda n=n: new.append(planned(stores[n], rows[:: 1 - 2 * n], [])[0]) for n in (0, 1)]
    together(*jobs)
    assert sum(new) == 3000


def test_planning_nothing_is_nothing(store: Store) -> None:
    assert planned(store, [], []) == (0, 0)


def test_columns_left_out_take_their_ordinary_value(store: Store) -> None:
    short = {"id": "round-1", "school": "elm", "date": DAY, "due": EIGHT, "checker": "l-teal"}
    with store.transaction() as tx:
        rounds.insert_many(tx, [short], [])
    with store.reading() as tx:
        row = tx.get(RoundRow, "round-1")
    assert (row.state, row.body, row.second) == ("planned", {}, None)


def test_rounds_that_are_due_come_earliest_first(store: Store) -> None:
    late = a_round("a", due=minutes(2))
    planned(
        store,
        [late, a_round("c"), a_round("b"), a_round("z", state="asked"), a_round("y", due=minutes(9))],
        [],
    )
    with store.transaction() as tx:
        assert [row.id for row in rounds.due(tx, minutes(2), 10)] == ["b", "c", "a"]
        assert [row.id for row in rounds.due(tx, minutes(2), 2)] == ["b", "c"]
        assert rounds.due(tx, minutes(-1), 10) == []
    with store.reading() as tx:
        assert rounds.next_due(tx) == EIGHT


def test_without_planned_rounds_nothing_is_due_next(store: Store) -> None:
    planned(store, [a_round(state="asked")], [])
    with store.reading() as tx:
        assert rounds.next_due(tx) is None


@pytest.mark.postgres
def test_on_postgresql_two_instances_take_different_rounds_and_checks(postgresql_url: str) -> None:
    one, other = Store(postgresql_url), Store(postgresql_url, wait=0.2)
    planned(one, [a_round("a"), a_round("b")], [a_check("x"), a_check("y", number=2)])
    with one.transaction() as tx, other.transaction() as beside:
        assert [row.id for row in rounds.due(tx, EIGHT, 1)] == ["a"]
        assert [row.id for row in rounds.due(beside, EIGHT, 1)] == ["b"]
        assert rounds.lock_free_checks(tx, ["x"]) == {"x"}
        assert rounds.lock_free_checks(beside, ["x", "y"]) == {"y"}
    one.close()
    other.close()


def test_a_days_rounds_are_those_of_the_school_and_date(store: Store) -> None:
    rows = [
        a_round("b"),
        a_round("a", due=minutes(5)),
        a_round("c", school="oak"),
        a_round("d", date=NEXT_DAY),
    ]
    planned(store, rows, [])
    with store.reading() as tx:
        assert [row.id for row in rounds.of_day(tx, "elm", DAY)] == ["b", "a"]


def test_a_rounds_checks_come_by_number(store: Store) -> None:
    rows = [a_check("x", number=2), a_check("y", number=1), a_check("z", round_id="round-2")]
    planned(store, [], rows)
    with store.reading() as tx:
        assert [row.id for row in rounds.checks_of(tx, "round-1")] == ["y", "x"]
        assert rounds.check(tx, "z").round_id == "round-2"
        assert rounds.check(tx, "nobody") is None


def test_open_checks_leave_out_what_is_closed(store: Store) -> None:
    rows = [
        a_check("a", state="asked"), a_check("b", state="closed"), a_check("c", round_id="round-0"),
        a_check("d", school="oak"), a_check("e", date=NEXT_DAY),
    ]  # fmt: skip
    planned(store, [], rows)
    with store.reading() as tx:
        assert [row.id for row in rounds.open_checks(tx, "elm", DAY)] == ["c", "a"]


def test_a_students_checks_include_first_and_last_date(store: Store) -> None:
    rows = [a_check(f"day-{n}", date=DAY.replace(day=n)) for n in (13, 14, 15, 16)]
    planned(store, [], [*rows, a_check("other", student="s-2")])
    with store.reading() as tx:
        found = rounds.student_checks(tx, "s-1", DAY, NEXT_DAY)
        assert [row.id for row in found] == ["day-14", "day-15"]


def test_notices_touch_the_days_from_first_to_last(store: Store) -> None:
    week = a_notice("week", first=DAY, last=DAY.replace(day=18), given_at=minutes(1))
    with store.transaction() as tx:
        assert notices.add(tx, week)
        assert notices.add(tx, a_notice("today"))
        assert not notices.add(tx, a_notice("today", by="someone else"))
        assert [row.id for row in notices.active(tx, DAY, DAY)] == ["today", "week"]
        assert [row.id for row in notices.active(tx, NEXT_DAY, NEXT_DAY)] == ["week"]
        assert [row.id for row in notices.active(tx, DAY.replace(day=10), DAY)] == ["today", "week"]
        assert notices.active(tx, DAY.replace(day=19), DAY.replace(day=30)) == []


def test_a_withdrawn_notice_holds_no_longer_and_is_withdrawn_once(store: Store) -> None:
    with store.transaction() as tx:
        notices.add(tx, a_notice())
        assert notices.withdraw(tx, "n-1", minutes(1))
        assert not notices.withdraw(tx, "n-1", minutes(2))
        assert not notices.withdraw(tx, "never given", minutes(2))
        assert notices.active(tx, DAY, DAY) == []


def begin(store: Store, *rows: ChaseRow) -> None:
    with store.transaction() as tx:
        for row in rows:
            chases.insert(tx, row.model_dump())


def test_a_chase_begins_once(store: Store) -> None:
    begin(store, a_chase(step=0))
    begin(store, a_chase(step=5))
    with store.transaction() as tx:
        assert chases.lock(tx, "chase-1").step == 0


def test_chases_wake_earliest_first_and_ended_ones_sleep(store: Store) -> None:
    begin(
        store,
        a_chase("b"), a_chase("a"), a_chase("late", wake_at=minutes(7)),
        a_chase("early", wake_at=minutes(-3)), a_chase("ended", ended_at=EIGHT), a_chase("idle", wake_at=None),
    )  # fmt: skip
    with store.transaction() as tx:
        assert chases.due(tx, EIGHT, 10) == ["early", "a", "b"]
        assert chases.due(tx, EIGHT, 2) == ["early", "a"]
        assert chases.next_wake(tx) == minutes(-3)


def test_without_a_chase_that_wakes_there_is_no_next_instant(store: Store) -> None:
    begin(store, a_chase("ended", ended_at=EIGHT), a_chase("idle", wake_at=None))
    with store.reading() as tx:
        assert chases.next_wake(tx) is None


def test_a_chase_is_read_anew_under_its_lock(opened: Any) -> None:
    one, other = opened(), opened()
    begin(one, a_chase())
    with one.transaction() as tx:
        assert chases.lock(tx, "no such chase") is None
        assert chases.lock(tx, "chase-1").step == 0
    with other.transaction() as tx:
        row = chases.lock(tx, "chase-1")
        row.step = 1
        chases.save(tx, row)
    with one.transaction() as tx:
        assert chases.lock(tx, "chase-1").step == 1


def test_a_body_changed_in_place_is_saved(store: Store) -> None:
    begin(store, a_chase(body={"told": ["l-teal"]}))
    with store.transaction() as tx:
        row = chases.lock(tx, "chase-1")
        row.body["told"].append("c-moss")
        chases.save(tx, row)
    with store.transaction() as tx:
        assert chases.lock(tx, "chase-1").body == {"told": ["l-teal", "c-moss"]}


def test_a_chase_just_begun_can_be_saved_from_the_row_in_hand(store: Store) -> None:
    row = a_chase()
    with store.transaction() as tx:
        chases.insert(tx, row.model_dump())
        chases.save(tx, row, step=3)
    with store.transaction() as tx:
        assert chases.lock(tx, "chase-1").step == 3


def test_chases_are_found_by_check_and_by_school(store: Store) -> None:
    begin(
        store,
        a_chase("b"), a_chase("a", ended_at=EIGHT), a_chase("d", school="oak", check_id=None),
        a_chase("c", check_id="check-2", date=DAY.replace(day=11)),
    )  # fmt: skip
    with store.reading() as tx:
        assert [row.id for row in chases.of_check(tx, "check-1")] == ["a", "b"]
        assert [row.id for row in chases.open_of_school(tx, "elm")] == ["c", "b"]


def laid(store: Store, *rows: TrayRow) -> list[str]:
    with store.transaction() as tx:
        for row in rows:
            tray.put(tx, row.model_dump())
        return sorted(tx.exec(select(TrayRow.key)))


def test_the_same_thing_is_laid_in_a_tray_once(store: Store) -> None:
    assert laid(store, a_tray("k-1", purpose="alert")) == ["k-1"]
    assert laid(store, a_tray("k-1", purpose="alert")) == ["k-1"]
    assert laid(store, a_tray("k-2", purpose="alert")) == ["k-1"]
    assert laid(store, a_tray("k-3", purpose="alert", generation=1)) == ["k-1", "k-3"]
    assert laid(store, a_tray("k-4", purpose="alert", step=1)) == ["k-1", "k-3", "k-4"]
    assert laid(store, a_tray("k-5", purpose="news")) == ["k-1", "k-3", "k-4", "k-5"]


def test_a_tray_holds_what_is_neither_sent_nor_dropped(store: Store) -> None:
    laid(
        store,
        a_tray("late", due_at=minutes(2)), a_tray("b"), a_tray("a"), a_tray("sent", outbox_id="msg-1"),
        a_tray("dropped", dropped="settled"), a_tray("other", person="c-moss"),
    )  # fmt: skip
    with store.reading() as tx:
        assert [row.key for row in tray.waiting(tx, "l-teal")] == ["a", "b", "late"]


def test_a_persons_tray_is_due_when_something_in_it_need_wait_no_longer(store: Store) -> None:
    laid(
        store,
        a_tray("1", person="moss"), a_tray("2", person="moss"), a_tray("3", person="ash"),
        a_tray("4", person="fern", not_before=minutes(5)), a_tray("5", person="reed", dropped="settled"),
        a_tray("6", person="rush", outbox_id="msg-1", not_before=minutes(-9)),
    )  # fmt: skip
    with store.reading() as tx:
        assert list(tray.people_due(tx, EIGHT).items()) == [("ash", 1), ("moss", 2)]
        assert list(tray.people_due(tx, minutes(5))) == ["ash", "fern", "moss"]
        assert tray.next_release(tx) == EIGHT


def test_an_empty_tray_releases_nothing(store: Store) -> None:
    with store.reading() as tx:
        assert tray.next_release(tx) is None
        assert tray.people_due(tx, EIGHT) == {}


def test_a_persons_row_is_made_at_the_first_lock_and_kept(store: Store) -> None:
    with store.transaction() as tx:
        person = tray.lock_person(tx, "l-teal")
        assert (person.last_at, person.epoch) == (None, 0)
        person.last_at = EIGHT
    with store.transaction() as tx:
        assert tray.lock_person(tx, "l-teal").last_at == EIGHT
        assert len(tx.exec(select(AddresseeRow)).all()) == 1
