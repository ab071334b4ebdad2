"""Values of the core to JSON and back: the stored form stays as it is, and what did not change is not written anew."""

import json
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum

import pytest

from service.engine.codec import decode, encode, encode_anew


class Shade(StrEnum):
    LIGHT = "light"
    DARK = "dark"


@dataclass(frozen=True)
class Leaf:
    shade: Shade
    at: datetime | None = None


@dataclass(frozen=True)
class Tree:
    name: str
    planted: date
    rings: int = 0
    wakes: time | None = None
    rests: timedelta = timedelta()
    leaves: tuple[Leaf, ...] = ()
    pair: tuple[str, int] = ("a", 1)
    marks: frozenset[str] = frozenset()
    counts: dict[str, int] = field(default_factory=dict)
    crown: Leaf | None = None


EIGHT = datetime(2026, 9, 14, 12, 0, tzinfo=UTC)
TREE = Tree(
    "elm", date(2020, 3, 1), 6, time(8, 5), timedelta(minutes=2), (Leaf(Shade.DARK, EIGHT), Leaf(Shade.LIGHT)),
    ("b", 2), frozenset({"z", "y"}), {"l-teal": 1}, Leaf(Shade.LIGHT),
)  # fmt: skip
WRITTEN = (
    '{"name": "elm", "planted": "2020-03-01", "rings": 6, "wakes": "08:05:00", "rests": 120.0, '
    '"leaves": [{"shade": "dark", "at": "2026-09-14T12:00:00+00:00"}, {"shade": "light", "at": null}], '
    '"pair": ["b", 2], "marks": ["y", "z"], "counts": {"l-teal": 1}, "crown": {"shade": "light", "at": null}}'
)


def test_the_stored_form_is_what_it_always_was() -> None:
    assert json.dumps(encode(TREE)) == WRITTEN


def test_what_was_stored_comes_back_as_it_was() -> None:
    back = decode(Tree, json.loads(WRITTEN))
    assert back == TREE
    assert hash(back.leaves[0]) == hash(TREE.leaves[0])


def test_what_an_earlier_form_did_not_have_gets_its_default_and_what_it_had_besides_is_left_out() -> None:
    assert decode(Tree, {"name": "oak", "planted": "2020-03-01", "height": 9}) == Tree("oak", date(2020, 3, 1))


def test_a_form_that_lacks_what_is_needed_is_no_value() -> None:
    with pytest.raises(TypeError):
        decode(Tree, {"name": "oak"})


def test_a_word_that_is_none_of_an_enums_is_no_value() -> None:
    with pytest.raises(ValueError, match="dusk"):
        decode(Leaf, {"shade": "dusk"})


def test_written_anew_a_value_is_as_if_written_whole() -> None:
    before = decode(Tree, json.loads(WRITTEN))
    after = replace(before, rings=7, crown=None, leaves=(*before.leaves, Leaf(Shade.DARK)))
    held = json.loads(WRITTEN)
    assert encode_anew(after, before, held) == encode(after)
    assert encode_anew(after, before, {"name": "elm"}) == encode(after)
    assert held == json.loads(WRITTEN)
