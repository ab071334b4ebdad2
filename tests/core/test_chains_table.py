"""The table of transitions says the truth: nothing unlisted happens, and everything listed can."""

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import pytest

from service.core.chains import (
    TABLE,
    Accepted,
    Again,
    Answered,
    Away,
    Began,
    Cannot,
    Chase,
    Confirmed,
    DayOver,
    Effect,
    Ended,
    Event,
    Failed,
    Found,
    Mine,
    Moved,
    NotHelped,
    OutOfPlace,
    Phase,
    Posted,
    Purpose,
    Released,
    Report,
    SaidWorking,
    Scene,
    Settled,
    Standing,
    Subject,
    TakenBack,
    Time,
    Turn,
    Undone,
    Wait,
    Why,
    Withdraw,
    WoundUp,
    begin_alarm,
    begin_fault,
    begin_silence,
    step,
    wake,
)
from service.core.district import Chain, Limit, Settings, Severity

FIRST = datetime(2026, 10, 5, 13, 0, tzinfo=UTC)
SCENE = Scene(
    FIRST,
    FIRST + timedelta(hours=7),
    FIRST + timedelta(days=1),
    {},
    {p: Standing() for p in ("l", "r", "c", "a", "g")},
    Settings(),
)
FIVE, ALL_DAY = Limit(timedelta(minutes=5)), Limit()
SUBJECT = Subject("ch", "s", date(2026, 10, 5), "ck", "s1", "rd", ("c",))


def beginnings(now: datetime, dice: random.Random) -> Chase:
    """A chase of one of the kinds, with a chain of one or two contacts."""
    turns = tuple(
        Turn(f"step {n}", (person,), dice.choice([FIVE, FIVE, ALL_DAY]), purpose=Purpose.ALERT)
        for n, person in enumerate(dice.choice([("a",), ("a", "g"), ("nobody",), ("a", "nobody")]))
    )
    chain = Chain("chain", (), 1, carries_on=dice.choice([True, False]))
    kind = dice.choice(["silence", "alarm", "fault", "trying"])
    if kind == "silence":
        prompt = Turn("checker", ("l",), FIVE, purpose=Purpose.PROMPT)
        return begin_silence(SUBJECT, chain, (prompt, *turns), now, now, SCENE)[0]
    if kind == "alarm":
        report = Report(Severity.EMERGENCY, ("SWALLOWED",), "l", closers=("g",))
        return begin_alarm(SUBJECT, chain, turns, report, now, SCENE)[0]
    wait = timedelta(minutes=10 if kind == "trying" else 0)
    report = Report(Severity.SAME_DAY, ("CABLE",), "l")
    return begin_fault(SUBJECT, chain, turns, report, wait, (), now, SCENE)[0]


def anything(chase: Chase, dice: random.Random) -> Event:
    """Something that may well mean something to the chase now."""
    told = chase.current.person if chase.current else "l"
    held = chase.in_hand.person if chase.in_hand else told
    person = dice.choice([told, held, held, "l", "c", chase.end.by or "l" if chase.end else "g"])
    kinds: list[Callable[[str], Event]] = [
        Posted,
        Accepted,
        Failed,
        Cannot,
        Away,
        NotHelped,
        SaidWorking,
        Again,
        Undone,
        TakenBack,
        Answered,
        Released,
        WoundUp,
    ]
    return dice.choice(
        [
            *(kind(person) for kind in kinds),
            Time(), Time(), Time(), DayOver(), Began(), Mine(person, 10), Wait(person, 5),
            Found(person, Ended.FOUND), Confirmed(person, True), Settled(Ended.PUT_RIGHT, person),
            Moved(timedelta(minutes=30)),
        ]
    )  # fmt: skip


@dataclass(frozen=True)
class Taken:
    """One step of a walk: the chase before and after, what happened, and what came of it."""

    before: Chase
    event: Event
    after: Chase
    effects: tuple[Effect, ...]

    @property
    def transition(self) -> tuple[Phase, type, Phase]:
        return self.before.phase, type(self.event), self.after.phase


def walks(count: int, length: int) -> Iterator[Taken]:
    """Every step on many random walks that are the same in every run."""
    for number in range(count):
        dice = random.Random(number)
        now = FIRST + timedelta(minutes=dice.choice([0, 200, 419, 425]))
        chase = beginnings(now, dice)
        for _ in range(length):
            event = anything(chase, dice)
            due = wake(chase, SCENE) if isinstance(event, Time) else None
            now = max(now, due or now) + timedelta(seconds=dice.choice([0, 0, 30, 200]))
            try:
                after, effects = step(chase, event, now, SCENE)
            except OutOfPlace:
                continue
            yield Taken(chase, event, after, effects)
            chase = after


@pytest.fixture(scope="module")
def steps() -> list[Taken]:
    return list(walks(4000, 14))


def test_nothing_happens_that_the_table_does_not_list(steps: list[Taken]) -> None:
    unlisted = {
        (before.value, event.__name__, after.value)
        for before, event, after in {taken.transition for taken in steps}
        if after is not before and after not in TABLE[before, event][1]
    }
    assert unlisted == set()


def test_everything_the_table_lists_can_happen(steps: list[Taken]) -> None:
    seen = {taken.transition for taken in steps}
    never = {
        (before.value, event.__name__, after.value)
        for (before, event), (_, leads_to) in TABLE.items()
        for after in leads_to
        if (before, event, after) not in seen
    }
    assert never == set()


class TestWhatTheTableHasNoRowFor:
    """The engine sends these events to whoever is told, has the turn or waits in silence: nobody does there."""

    def test_while_a_remedy_is_tried_nobody_has_been_told(self, steps: list[Taken]) -> None:
        assert not [t for t in steps if t.after.phase is Phase.TRYING and t.after.told]

    def test_nobody_has_the_turn_while_a_remedy_is_tried_or_an_emergency_sounds(self, steps: list[Taken]) -> None:
        held = [t.after for t in steps if t.after.phase in (Phase.TRYING, Phase.ALARM)]
        assert not [chase for chase in held if chase.in_hand is not None and chase.in_hand.holds]
        assert {chase.why for chase in held} == {Why.FAULT}

    def test_where_nobody_is_left_the_checkers_own_time_is_over(self, steps: list[Taken]) -> None:
        assert not [t for t in steps if t.after.phase is Phase.NOBODY_LEFT and t.after.step <= 0]

    def test_of_what_is_over_nothing_waits_to_be_posted(self, steps: list[Taken]) -> None:
        ends = [t for t in steps if t.before.is_open and not t.after.is_open]
        kept = [
            told.person
            for t in ends
            for told in t.after.told
            if Withdraw(told.person, "settled") not in t.effects and Withdraw(told.person, "day_over") not in t.effects
        ]
        assert ends
        assert kept == []

    def test_the_confirmed_end_of_an_emergency_stays(self, steps: list[Taken]) -> None:
        alarms = [t.after for t in steps if t.after.end is not None and t.after.end.was is Phase.ALARM]
        assert alarms
        assert step(alarms[0], Undone("l"), FIRST, SCENE) == (alarms[0], ())

    def test_an_emergency_ends_by_no_settling_and_is_taken_back_by_nobody(self) -> None:
        report = Report(Severity.EMERGENCY, ("SWALLOWED",), "l")
        alarm = begin_alarm(SUBJECT, Chain("chain", (), 1), (), report, FIRST, SCENE)[0]
        for event in (Settled(Ended.NO_CHECK, "c"), TakenBack("l")):
            with pytest.raises(OutOfPlace):
                step(alarm, event, FIRST, SCENE)


def test_an_event_without_a_row_changes_nothing_and_says_what_was_out_of_place() -> None:
    over = next(c for n in range(50) if (c := beginnings(FIRST, random.Random(n))).why.value == "silence")
    ended, _ = step(over, Settled(Ended.ANSWERED, "l"), FIRST, SCENE)

    with pytest.raises(OutOfPlace, match="Mine while over"):
        step(ended, Mine("a", 10), FIRST, SCENE)
