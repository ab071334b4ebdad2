"""A child who slips is told of once, to the audiologist, on the day on which it shows."""

import pytest

from service.engine import commands, planner, slips
from service.engine.desk import Desk
from service.engine.stumbling import TROUBLE
from service.store import marks
from tests.engine.engine_district import district
from tests.engine.engine_morning import Receivers, broken_streams, play_to, results, says

CHECKER = "school000-room0"
WEEK = ("2026-10-05", "2026-10-06", "2026-10-07", "2026-10-08", "2026-10-09")
MORNING = "morning-2026-10-05"
SINCE = {"usual since": "2026-09-01"}


def lived(desk: Desk, answers: tuple[str, ...], *students: dict[str, object]) -> list[str]:
    """What the audiologist is told of slips in school days in each of which the checker answers once; `students`
    says what is usual of the room's children.
    """
    documents = district()
    for n, more in enumerate(students):
        documents["students"][f"{CHECKER}-child{n}"] |= more
    commands.configure(desk, documents, "C")
    receivers = Receivers()
    for day, answer in zip(WEEK, answers, strict=False):
        play_to(desk, "08:06", receivers, day)
        says(desk, CHECKER, answer, f"said-{day}")
        play_to(desk, "23:00", receivers, day)
        planner.plan_all(desk)
    assert not broken_streams(desk)
    return [errand.text for errand in receivers.told("A") if "worth a look" in errand.text]


def test_the_same_miss_on_three_days_is_told_once_and_only_of_who_usually_hears_the_sound(desk: Desk) -> None:
    heard: dict[str, object] = {"usual": ["all 0 of 15"], **SINCE}
    never: dict[str, object] = {"usual": ["all 0 of 15", "s 15 of 15"], **SINCE}

    (told,) = lived(desk, ("1 missed s, 2 missed s, 3 missed s",) * 4, heard, never)

    assert "Tree00" in told
    assert "High sounds" in told
    assert "3 misses, 3 checks" in told
    assert "no finding about hearing" in told


def test_days_with_a_fault_and_days_before_the_date_do_not_add_up(desk: Desk) -> None:
    answers = ("1 missed s, 2 missed s, 3 ok", "1 missed s, 2 missed s, 3 ok", "1 battery, 2 missed s, 3 ok")
    heard: dict[str, object] = {"usual": ["all 0 of 15"], **SINCE}

    assert lived(desk, answers, heard, {**heard, "usual since": "2026-10-06"}) == []


def test_where_it_cannot_be_worked_out_the_answer_stands_and_it_is_marked(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(slips, "watch", lambda *_: 1 / 0)
    heard: dict[str, object] = {"usual": ["all 0 of 15"], **SINCE}

    assert lived(desk, ("1 missed s, 2 ok, 3 ok",), heard) == []

    assert sorted(r for c, r in results(desk.store).items() if CHECKER in c and "10-05" in c) == [
        "fault", "working", "working"
    ]  # fmt: skip
    with desk.glance() as m:
        marked = [mark.key.removeprefix(TROUBLE) for mark in marks.with_prefix(m.tx, TROUBLE)]
    assert marked == [f"slip ck-{CHECKER}-child0-{MORNING}"]
