"""The table of transitions says the truth: nothing unlisted happens, and everything listed can."""

import random
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

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
    begin_alarm,
    begin_fault,
    begin_silence,
    step,
    wake,
)
from service.core.chains.diagram import diagram
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
    ]
    return dice.choice(
        [
            *(kind(person) for kind in kinds),
            Time(), Time(), Time(), DayOver(), Began(), Mine(person, 10), Wait(person, 5),
            Found(person, Ended.FOUND), Confirmed(person, True), Settled(Ended.PUT_RIGHT, person),
            Moved(timedelta(minutes=30)),
        ]
    )  # fmt: skip


def walks(count: int, length: int) -> Iterator[tuple[Phase, type, Phase]]:
    """Every change of phase on many random walks that are the same in every run."""
    for number in range(count):
        dice = random.Random(number)
        now = FIRST + timedelta(minutes=dice.choice([0, 200, 419, 425]))
        chase = beginnings(now, dice)
        for _ in range(length):
            event = anything(chase, dice)
            due = wake(chase, SCENE) if isinstance(event, Time) else None
            now = max(now, due or now) + timedelta(seconds=dice.choice([0, 0, 30, 200]))
            try:
                after, _ = step(chase, event, now, SCENE)
            except OutOfPlace:
                continue
            yield chase.phase, type(event), after.phase
            chase = after


@pytest.fixture(scope="module")
def seen() -> set[tuple[Phase, type, Phase]]:
    return set(walks(4000, 14))


def test_nothing_happens_that_the_table_does_not_list(seen: set[tuple[Phase, type, Phase]]) -> None:
    unlisted = {
        (before.value, event.__name__, after.value)
        for before, event, after in seen
        if after is not before and after not in TABLE[before, event][1]
    }
    assert unlisted == set()


def test_everything_the_table_lists_can_happen(seen: set[tuple[Phase, type, Phase]]) -> None:
    never = {
        (before.value, event.__name__, after.value)
        for (before, event), (_, leads_to) in TABLE.items()
        for after in leads_to
        if (before, event, after) not in seen
    }
    assert never == set()


def test_an_event_without_a_row_changes_nothing_and_says_what_was_out_of_place() -> None:
    over = next(c for n in range(50) if (c := beginnings(FIRST, random.Random(n))).why.value == "silence")
    ended, _ = step(over, Settled(Ended.ANSWERED, "l"), FIRST, SCENE)

    with pytest.raises(OutOfPlace, match="Mine while over"):
        step(ended, Mine("a", 10), FIRST, SCENE)


def test_the_diagram_has_every_transition_of_the_table_once() -> None:
    drawn = diagram().splitlines()

    assert drawn[0] == "stateDiagram-v2"
    arrows = [line for line in drawn if "-->" in line and "[*]" not in line]
    pairs = {(b, a) for (b, _), (_, to) in TABLE.items() for a in to if a is not b}
    assert len(arrows) == len(pairs) == len(set(arrows))


def test_the_guide_shows_the_diagram_of_the_table() -> None:
    guide = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
    shown = guide.partition("<!-- chase diagram -->")[2].partition("<!-- /chase diagram -->")[0]

    assert shown.strip() == f"```mermaid\n{diagram()}\n```"
