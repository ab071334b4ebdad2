"""The applied configuration and the service's own marks."""

from typing import Any

from store_rows import EIGHT, minutes
from store_together import together

from service.store import configuration, marks
from service.store.base import Store
from service.store.tables import ConfigEntry, ConfigVersion


def test_a_configuration_comes_back_as_it_was_put(store: Store) -> None:
    with store.transaction() as tx:
        assert configuration.current(tx) == {}
        configuration.put(tx, "schools", "oak", {"zone": "UTC"}, EIGHT, "c-moss")
        configuration.put(tx, "schools", "elm", {"bells": [{"name": "Period 1"}]}, EIGHT, "c-moss")
        configuration.put(tx, "people", "l-teal", {}, EIGHT, "c-moss")
        current = configuration.current(tx)
    assert current == {
        "people": {"l-teal": {}},
        "schools": {"elm": {"bells": [{"name": "Period 1"}]}, "oak": {"zone": "UTC"}},
    }
    assert list(current["schools"]) == ["elm", "oak"]


def test_an_entry_put_again_takes_the_place_of_the_first(store: Store) -> None:
    with store.transaction() as tx:
        configuration.put(tx, "schools", "elm", {"zone": "UTC"}, EIGHT, "c-moss")
    with store.transaction() as tx:
        configuration.put(tx, "schools", "elm", {"zone": "Asia/Tokyo"}, minutes(1), "c-fern")
        row = tx.get(ConfigEntry, ("schools", "elm"))
        assert (row.body, row.applied_at, row.by) == ({"zone": "Asia/Tokyo"}, minutes(1), "c-fern")


def test_a_removed_entry_is_out_of_force_but_readable_and_can_come_back(store: Store) -> None:
    with store.transaction() as tx:
        configuration.put(tx, "students", "s-1", {"alias": "Kite"}, EIGHT, "c-moss")
        assert configuration.remove(tx, "students", "s-1", minutes(1), "c-fern")
        assert not configuration.remove(tx, "students", "s-1", minutes(2), "c-fern")
        assert not configuration.remove(tx, "students", "s-9", minutes(2), "c-fern")
        assert configuration.current(tx) == {}
    with store.transaction() as tx:
        row = tx.get(ConfigEntry, ("students", "s-1"))
        assert (row.body, row.removed_at, row.by) == ({"alias": "Kite"}, minutes(1), "c-fern")
        configuration.put(tx, "students", "s-1", {"alias": "Lark"}, minutes(3), "c-moss")
        assert configuration.current(tx) == {"students": {"s-1": {"alias": "Lark"}}}


def test_applications_are_numbered_from_one(store: Store) -> None:
    with store.transaction() as tx:
        assert configuration.version(tx) == 0
        assert configuration.bump(tx, EIGHT, "c-moss", "d1") == 1
        assert configuration.bump(tx, EIGHT, "c-moss", "d1") == 2
        assert configuration.version(tx) == 2
        assert tx.get(ConfigVersion, 2).digest == "d1"


def test_applications_at_the_same_time_get_numbers_of_their_own(opened: Any) -> None:
    stores = [opened(wait=20), opened(wait=20)]
    numbers: list[int] = []

    def apply(store: Store) -> None:
        with store.transaction() as tx:
            numbers.append(configuration.bump(tx, EIGHT, "c-moss", "d"))

    together(*[lambda store=store: apply(store) for store in stores * 3])
    assert sorted(numbers) == [1, 2, 3, 4, 5, 6]


def test_a_mark_is_what_was_set_last(store: Store) -> None:
    with store.transaction() as tx:
        assert marks.get(tx, "heartbeat") is None
        marks.set(tx, "heartbeat", EIGHT, {"entries": 1})
        assert marks.get(tx, "heartbeat").body == {"entries": 1}
        marks.set(tx, "heartbeat", minutes(1), {"entries": 2})
        mark = marks.get(tx, "heartbeat")
    assert (mark.at, mark.body) == (minutes(1), {"entries": 2})


def test_instances_may_set_the_same_mark_at_once(opened: Any) -> None:
    stores = [opened(wait=20), opened(wait=20)]

    def beat(store: Store) -> None:
        for n in range(5):
            with store.transaction() as tx:
                marks.set(tx, "heartbeat", minutes(n), {})

    together(*[lambda store=store: beat(store) for store in stores])
    with stores[0].reading() as tx:
        assert marks.get(tx, "heartbeat").at == minutes(4)
