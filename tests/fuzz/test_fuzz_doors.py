"""Any bytes by mail, any words by chat: a little of what `python -m tests.fuzz` does for hours."""

import pytest

from tests.fuzz.doors import Morning, Tally, fuzz
from tests.fuzz.inputs import Case


@pytest.mark.parametrize("seed", [1, 2])
def test_whatever_comes_is_stored_and_answered_or_shown_and_never_good_news(seed: int) -> None:
    tally = Tally()
    fuzz(seed, 40, tally)
    assert tally.wrong == []
    assert tally.inputs == 40


def test_good_news_would_be_noticed() -> None:
    morning = Morning(1)
    assert list(morning._one(Case("all is well", b"1 ok"), 3, Tally()))
    morning.store.close()
