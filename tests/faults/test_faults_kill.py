"""Real instances of the service, ended by force in the midst of a morning, lose nothing and tell nothing twice."""

from contextlib import suppress
from dataclasses import replace

import pytest

from service.store.tables import OutboxRow
from tests.faults import town
from tests.faults.judging import Ended, wrongs
from tests.faults.killing import Killer, TooSlow, in_time, killed

POINTS = 10
SEEDS = (2, 3, 4)
"""Tried until the machine keeps up with a morning; in that of seed 1 ends follow each other too quickly for any."""

WHOLE = Ended(*town.ends())
CHECK, ALERT = min(WHOLE.results), min(key for key in WHOLE.told if "/alert/" in key)


def played(kind: str) -> tuple[Ended, Killer]:
    """A morning that was not too fast for the machine."""
    *first, last = SEEDS
    for seed in first:
        with suppress(TooSlow):
            return killed(kind, POINTS, seed)
    return killed(kind, POINTS, last)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def test_a_morning_in_which_instances_are_ended_by_force_ends_as_it_should(kind: str) -> None:
    ended, killer = played(kind)
    assert wrongs(ended) == []
    assert killer.taken.total() >= POINTS / 2


@pytest.mark.parametrize(
    ("left", "said"),
    [
        (replace(WHOLE, results={**WHOLE.results, CHECK: None}), f"{CHECK} is None; it should be working"),
        (replace(WHOLE, told=WHOLE.told - {ALERT}), f"{ALERT} was never told"),
        (replace(WHOLE, wrong=["m3 was acknowledged and is nowhere"]), "m3 was acknowledged and is nowhere"),
    ],
)
def test_a_morning_that_lost_something_is_found_out(left: Ended, said: str) -> None:
    assert wrongs(left) == [said]
    assert wrongs(WHOLE) == []


def test_a_machine_that_is_too_slow_for_the_morning_is_not_taken_for_a_fault() -> None:
    sent = [OutboxRow(id="msg-1", person="ash-room0", state="accepted"), OutboxRow(id="msg-2", state="timed_out")]
    in_time(sent[:1], behind=9.0)
    with pytest.raises(TooSlow, match="msg-2"):
        in_time(sent, behind=9.0)
