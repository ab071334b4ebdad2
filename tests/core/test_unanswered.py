"""What would happen if nobody answered, walked through without a clock or a database."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.core.district import District
from service.core.outlook import Plan, SchoolOutlook, loads, outlook
from service.core.unanswered import Happening, What, messages
from service.engine.scenes import scene_of
from service.setup import load

DEMO = Path(__file__).parents[2] / "config_demo"
MONDAY = date(2026, 11, 23)
FIRST_DAY = date(2026, 8, 24)
START = datetime(2026, 11, 23, 14, 0, tzinfo=UTC)
GATHER = timedelta(minutes=2)


@pytest.fixture(scope="module")
def demo() -> District:
    found = load(DEMO, {}).district
    assert found is not None
    return found


def day_of(district: District, on: date) -> dict[str, SchoolOutlook]:
    plan = Plan(district)
    return {s.school.id: s for s in outlook(plan, on, lambda s, d: scene_of(plan, s, d, frozenset(), {}))}


def told(happenings: tuple[Happening, ...], since: datetime) -> list[tuple[int, str, str]]:
    return [(int((h.at - since).total_seconds() // 60), h.what.value, h.person) for h in happenings]


def test_a_silent_round_climbs_its_chain_minute_by_minute_to_the_days_end(demo: District) -> None:
    school = day_of(demo, MONDAY)["hollow-road"]
    first = school.rounds[0]
    assert told(first.happenings, first.round.due) == [
        (0, "asked", "l-teal"),
        (5, "reminded", "l-teal"),
        (10, "told", "r-moss"),
        (15, "told", "o-birch"),
        (25, "told", "c-reed"),
        (415, "summary", "c-reed"),
        (415, "summary", "a-vane"),
    ]


def test_the_first_time_the_chain_moves_on_is_when_the_round_says_it_must_be_answered(demo: District) -> None:
    for school in day_of(demo, MONDAY).values():
        for each in school.rounds:
            after = [h.at for h in each.happenings if h.what is What.TOLD]
            assert min(after) == each.round.answer_by


def test_on_the_first_days_of_term_silence_goes_to_the_coordinator_alone(demo: District) -> None:
    school = day_of(demo, FIRST_DAY)["hollow-road"]
    assert school.settling_in
    people = {h.person for h in school.rounds[0].happenings if h.what is What.TOLD}
    assert people == {"c-reed"}


def test_everybody_who_is_asked_is_counted_on_an_ordinary_day_and_more_on_a_bad_one(demo: District) -> None:
    counted = {load.person: load for load in loads(demo, list(day_of(demo, MONDAY).values()))}
    assert (counted["l-teal"].ordinary, counted["l-teal"].bad) == (2, 4)
    assert counted["c-reed"].ordinary == 0
    assert all(load.ordinary <= load.bad for load in counted.values())


def test_messages_within_the_window_go_as_one_and_later_ones_wait_for_it() -> None:
    def count(*minutes: float) -> int:
        return messages([START + timedelta(minutes=m) for m in minutes], GATHER)

    assert [count(), count(0), count(0, 0), count(0, 1), count(0, 1, 1.5), count(0, 2)] == [0, 1, 1, 2, 2, 2]
    assert count(0, 1, 2, 3, 4) == 3


@given(st.lists(st.integers(0, 600), max_size=40), st.integers(0, 10))
def test_gathering_never_makes_more_messages_and_never_fewer_than_the_windows_need(
    minutes: list[int], window: int
) -> None:
    instants = [START + timedelta(minutes=m) for m in minutes]
    count = messages(instants, timedelta(minutes=window))
    assert count <= len(set(minutes))
    assert bool(count) == bool(minutes)
    if minutes and window:
        assert count <= (max(minutes) - min(minutes)) // window + 2
