"""What is worth looking at: said differently for high sounds, for one side and for both; and contradicted answers."""

from datetime import UTC, datetime, timedelta

import pytest

from service.core.district import Side
from service.core.listening.contradicted import Word, contradicted
from service.core.listening.slipping import Plan, watch
from service.core.listening.usual import HEARD, Ear
from service.core.listening.worth import Pattern, Worth, worth_looking_at
from service.core.reading import Result
from service.core.sounds import SIX, sound_sets
from tests.core.listening_made import check

HIGH = sound_sets()["six"].high
ALL = " ".join(SIX)
SIDES = ("", "left", "right")
PLAN = Plan({Ear(side, s): HEARD for side in SIDES for s in SIX}, dict.fromkeys(SIDES, 36))


def worth(as_worn: str = "", left: str = "", right: str = "", days: int = 3) -> tuple[Worth, ...]:
    checks = [
        check(n, gone, side)
        for n in range(days)
        for side, gone in ((None, as_worn), (Side.LEFT, left), (Side.RIGHT, right))
    ]
    return worth_looking_at(watch(PLAN, checks), HIGH)


def test_nothing_is_said_before_a_rule_has_spoken() -> None:
    assert worth(left=ALL, days=2) == ()


@pytest.mark.parametrize(
    ("gone", "pattern", "side", "sounds"),
    [
        ({"left": "s sh"}, Pattern.HIGH_ONE_SIDE, "left", ("sh", "s")),
        ({"right": "s"}, Pattern.HIGH_ONE_SIDE, "right", ("s",)),
        ({"left": "s", "right": "sh"}, Pattern.HIGH_BOTH, "", ("s", "sh")),
        ({"as_worn": "s sh"}, Pattern.HIGH_BOTH, "", ("sh", "s")),
        ({"right": ALL}, Pattern.ALL_ONE_SIDE, "right", SIX),
        ({"left": ALL, "right": ALL}, Pattern.ALL_BOTH, "", SIX),
        ({"as_worn": ALL}, Pattern.ALL_BOTH, "", SIX),
        ({"left": "m"}, Pattern.SOME, "left", ("m",)),
        ({"left": "m s"}, Pattern.SOME, "left", ("m", "s")),
    ],
)
def test_which_sounds_went_where(
    gone: dict[str, str], pattern: Pattern, side: str, sounds: tuple[str, ...]
) -> None:
    assert worth(**gone) == (Worth(pattern, side, sounds),)


def test_the_graver_comes_first_and_nothing_is_said_twice() -> None:
    said = worth(as_worn="m", left=ALL, right="s")
    assert [(w.pattern, w.side) for w in said] == [
        (Pattern.ALL_ONE_SIDE, "left"),
        (Pattern.HIGH_ONE_SIDE, "right"),
        (Pattern.SOME, ""),
    ]
    assert [w.pattern for w in worth(as_worn=ALL, left=ALL, right=ALL)] == [Pattern.ALL_BOTH]


def test_sounds_that_go_together_are_said_together_before_each_has_spoken_for_itself() -> None:
    checks = [check(0, "s", Side.LEFT), *(check(n, ALL, Side.LEFT) for n in (1, 2))]
    assert worth_looking_at(watch(PLAN, checks), HIGH) == (Worth(Pattern.ALL_ONE_SIDE, "left", SIX),)


EIGHT = datetime(2026, 11, 25, 8, tzinfo=UTC)


def word(minutes: int, person: str, result: Result, student: str = "wren") -> Word:
    return Word(EIGHT + timedelta(minutes=minutes), person, student, result)


GOOD = word(0, "ann", Result.WORKING)


@pytest.mark.parametrize(
    ("found", "counts"),
    [
        (word(20, "ben", Result.FAULT), True),
        (word(60, "ben", Result.FAULT), True),
        (word(61, "ben", Result.FAULT), False),
        (word(20, "ann", Result.FAULT), False),
        (word(20, "ben", Result.FAULT, "moss"), False),
        (word(20, "ben", Result.WORKING), False),
        (word(20, "ben", Result.AWAY), False),
        (word(-5, "ben", Result.FAULT), False),
    ],
)
def test_an_answer_is_contradicted_by_another_who_finds_a_fault_within_the_hour(
    found: Word, counts: bool
) -> None:
    assert bool(contradicted([found, GOOD])) is counts


def test_each_answer_counts_once_however_many_find_it_otherwise() -> None:
    found = [word(10, "ben", Result.FAULT), word(20, "cleo", Result.FAULT)]
    assert [(pair.said, pair.found.person) for pair in contradicted([*found, GOOD])] == [(GOOD, "ben")]
