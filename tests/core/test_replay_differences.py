"""Where the tables are not what the journal, replayed from nothing, implies."""

from datetime import UTC, datetime, timedelta
from typing import Any

from service.core.replay import Difference, Known, differences, last_late, said_differently

AT = datetime(2026, 10, 5, 13, 5, tzinfo=UTC)
CHECK = "ck-s1-morning-2026-10-05"

IMPLIED = {"b": Known(4, {"state": "asked", "by": None}), "a": Known(3, {"due": AT})}


def texts(found: Any) -> list[str]:
    return [str(difference) for difference in found]


def test_rows_as_the_entries_say_differ_in_nothing_and_columns_no_entry_names_are_not_compared() -> None:
    found = {"a": {"due": AT, "room": "12"}, "b": {"state": "asked"}}

    assert texts(differences(IMPLIED, found, may_lack=False)) == []


def test_what_differs_is_named_with_its_row_and_the_entry_that_says_so() -> None:
    found = {"a": {"due": AT + timedelta(minutes=1)}, "b": {"state": None, "by": "l"}}

    assert texts(differences(IMPLIED, found, may_lack=False)) == [
        "a: due is 2026-10-05T13:06:00+00:00, the journal says 2026-10-05T13:05:00+00:00 (entry 3)",
        "b: state is nothing, the journal says 'asked' (entry 4)",
        "b: by is 'l', the journal says nothing (entry 4)",
    ]


def test_a_row_that_is_gone_is_named_and_the_others_are_still_looked_at() -> None:
    assert list(differences(IMPLIED, {"b": {"state": "new"}}, may_lack=False)) == [
        Difference("a", 3, "it is in the journal and not in its table"),
        Difference("b", 4, "state is 'new', the journal says 'asked'"),
    ]


def test_a_row_without_an_entry_is_named_unless_the_stream_is_of_the_earlier_form() -> None:
    found: dict[str, dict[str, Any]] = {"d": {}, "c": {}, "a": {}, "b": {}}

    assert texts(differences(IMPLIED, found, may_lack=False)) == [
        "c: it is in its table and not in the journal",
        "d: it is in its table and not in the journal",
    ]
    assert texts(differences(IMPLIED, found, may_lack=True)) == []


SAID = [Known(5, {"said": "ok", "at": AT}), Known(6, {"said": "cable", "at": AT})]
KEPT: list[dict[str, Any]] = [{"said": "ok", "at": AT, "more": 1}, {"said": "cable", "at": AT}]


def test_statements_as_said_differ_in_nothing() -> None:
    assert texts(said_differently(CHECK, SAID, KEPT, may_lack=False)) == []


def test_a_statement_that_was_changed_is_named_by_its_place() -> None:
    changed = [KEPT[0], {"said": "ok", "at": AT}]

    assert texts(said_differently(CHECK, SAID, changed, may_lack=False)) == [
        f"{CHECK}: said of statement 2 is 'ok', the journal says 'cable' (entry 6)"
    ]


def test_fewer_or_more_statements_than_were_said_are_counted() -> None:
    assert texts(said_differently(CHECK, SAID, KEPT[:1], may_lack=False)) == [
        f"{CHECK}: 1 statements are kept, the journal says 2 (entry 6)"
    ]
    assert texts(said_differently(CHECK, SAID[:1], KEPT, may_lack=False)) == [
        f"{CHECK}: 2 statements are kept, the journal says 1 (entry 5)"
    ]
    assert texts(said_differently(CHECK, [], KEPT, may_lack=False)) == [
        f"{CHECK}: 2 statements are kept, the journal says 0"
    ]


def test_the_earlier_form_may_lack_statements_and_never_have_too_many() -> None:
    assert texts(said_differently(CHECK, SAID, [*KEPT, KEPT[0]], may_lack=True)) == []
    assert len(texts(said_differently(CHECK, SAID, KEPT[:1], may_lack=True))) == 1


def late(result: str, taken_back: datetime | None = None, **more: Any) -> Known:
    return Known(1, {"said": {"result": result, "late": True, **more}, "taken back": taken_back})


def test_the_late_answer_is_the_last_one_that_was_not_taken_back() -> None:
    said = Known(1, {"said": {"result": "working"}, "taken back": None})

    assert last_late([]) is None
    assert last_late([said]) is None
    assert last_late([late("working"), late("fault", faults=["CABLE"]), said]) == {
        "result": "fault", "faults": ["CABLE"]
    }  # fmt: skip
    assert last_late([late("working"), late("fault", AT)]) == {"result": "working", "faults": []}
