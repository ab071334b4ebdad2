"""Labelled replies are read as labelled; no label is ever bettered, no emergency missed.

The shared sample, our own and the four earlier sets hold the goals. The five sets of other hands were written later,
without the reader, by people told to be difficult; each was scored once unseen (the figures stand in DEVELOPERS.md).
For them the goals are not met: what is held is no false good news, no missed emergency, and what is reached.
"""

from pathlib import Path

import pytest

from tests.core.replies_labelled import (
    BLIND,
    HAND,
    LATER,
    NEAR,
    OWN,
    SAMPLE,
    cases,
    comparable,
    got,
    is_better,
)

# The share read as labelled that may not be lost again.
REACHED = {
    "replies_hand1": 0.87, "replies_hand2": 0.91, "replies_hand3": 0.77, "replies_hand4": 0.87, "replies_hand5": 0.69,
}  # fmt: skip


def misses(path: Path) -> list[str]:
    """The undoubtful cases that are not read as labelled."""
    return [c["text"] for c in cases(path) if not c.get("doubtful") and comparable(got(c)) != comparable(c["expect"])]


def undoubtful(path: Path) -> int:
    """How many cases of a file careful people agree on."""
    return sum(not case.get("doubtful") for case in cases(path))


@pytest.mark.parametrize("path", [SAMPLE, OWN, *NEAR, *LATER, *BLIND, *HAND], ids=lambda path: str(path.stem))
def test_no_labelled_reply_is_read_as_better_news_and_no_emergency_is_missed(path: Path) -> None:
    if not path.exists():
        pytest.skip(f"labelled sample not found: {path}")
    read = [(case, got(case)) for case in cases(path)]
    assert [case["text"] for case, found in read if is_better(found, case["expect"])] == []
    hidden = [c["text"] for c, found in read if c["expect"].get("emergency") and not found["emergency"]]
    assert hidden == []


@pytest.mark.parametrize("path", [SAMPLE, OWN, *NEAR, *LATER, *BLIND], ids=lambda path: str(path.stem))
def test_replies_are_read_as_labelled_and_few_clear_ones_are_asked_about(path: Path) -> None:
    if not path.exists():
        pytest.skip(f"labelled sample not found: {path}")
    otherwise = misses(path)
    assert len(otherwise) <= 0.03 * undoubtful(path), otherwise
    clear = [case for case in cases(path) if not case.get("doubtful") and not case["expect"]["ask"]]
    needless = [case["text"] for case in clear if got(case)["ask"]]
    assert len(needless) <= 0.02 * len(clear), needless


@pytest.mark.parametrize("path", HAND, ids=lambda path: str(path.stem))
def test_what_is_reached_with_difficult_replies_is_not_lost_again(path: Path) -> None:
    assert 1 - len(misses(path)) / undoubtful(path) >= REACHED[path.stem]
