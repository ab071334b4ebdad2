"""How long a channel's rate makes the last message of a morning wait."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from service.core.rush import Rush, rush

EIGHT = datetime(2026, 10, 5, 8, 0, tzinfo=UTC)
SECOND, MINUTE = timedelta(seconds=1), timedelta(minutes=1)


def test_what_fits_the_rate_waits_for_nothing() -> None:
    assert rush([EIGHT] * 5, 5, SECOND) == Rush(timedelta(0), EIGHT, 5)


def test_the_last_of_many_waits_for_all_before_it() -> None:
    assert rush([EIGHT] * 1_200, 5, SECOND) == Rush(239 * SECOND, EIGHT, 1_200)


def test_a_bell_that_follows_soon_waits_for_the_one_before() -> None:
    later = EIGHT + 10 * SECOND
    assert rush([later, *[EIGHT] * 100], 1, SECOND) == Rush(99 * SECOND, EIGHT, 100)
    assert rush([*[later] * 100, *[EIGHT] * 100], 1, SECOND) == Rush(189 * SECOND, later, 100)


def test_a_morning_without_messages_has_no_rush() -> None:
    assert rush([], 5, SECOND) is None


@given(st.lists(st.integers(0, 300), min_size=1, max_size=60), st.integers(1, 10))
def test_no_span_ever_holds_more_than_the_rate(seconds: list[int], count: int) -> None:
    """A second way to the same figure: by the k-th message's own wait, whatever came before."""
    dues = sorted(EIGHT + s * SECOND for s in seconds)
    found = rush(dues, count, MINUTE)
    waits = [
        max(dues[i] + MINUTE * ((n - i) // count) for i in range(n % count, n + 1, count)) - dues[n]
        for n in range(len(dues))
    ]
    assert found is not None
    assert found.wait == max(waits)
