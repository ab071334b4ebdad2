"""An emergency in conversation: who reported it too hears its end, whatever words either used."""

import pytest

from tests.engine.engine_talk import SECOND, Talk, talk

__all__ = ["talk"]

SWALLOWED = "a child has swallowed a battery"


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (SWALLOWED, SWALLOWED),
        ("2 swallowed the battery", SWALLOWED),
        (SWALLOWED, "2 swallowed it"),
        ("2 swallowed it", "2 ate the battery"),
    ],
)
def test_the_second_reporter_gets_the_caution_raises_no_second_alarm_and_hears_the_end_once(
    talk: Talk, first: str, second: str
) -> None:
    talk.write(first)
    alerts = talk.times_told("A", "alert")
    before = len(talk.receivers.told(SECOND))
    talk.write(second, SECOND)
    assert any("Call 911 now" in errand.text for errand in talk.receivers.told(SECOND)[before:])
    assert talk.times_told("A", "alert") == alerts
    assert len(talk.chases("fault")) == 1

    talk.write("found")
    talk.write("yes")

    assert talk.chases("fault") == []
    for person in (SECOND, "A", "C", "school000-office"):
        over = [errand for errand in talk.receivers.told(person) if "Emergency over" in errand.text]
        assert len(over) == 1, person


def test_who_reported_first_hears_the_end_that_the_second_reporter_cannot_give(talk: Talk) -> None:
    talk.write(SWALLOWED)
    talk.write(SWALLOWED, SECOND)
    talk.write("found", SECOND)
    talk.write("yes", SECOND)
    assert len(talk.chases("fault")) == 1

