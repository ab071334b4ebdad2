"""Everybody sees how many messages they got this term, and how many of them they answered."""

from service.engine import commands, planner
from service.engine.burden import burden
from service.engine.desk import Desk
from tests.engine.engine_district import district
from tests.engine.engine_morning import Receivers, at, play_to, says

CHECKER = "school000-room0"


def test_a_prompt_and_a_reminder_of_which_one_was_answered(desk: Desk) -> None:
    commands.configure(desk, district(), "C")
    planner.plan_all(desk, at("08:00").date())
    says(desk, CHECKER, "good morning", "r0")
    play_to(desk, "08:11", Receivers())
    says(desk, CHECKER, "all ok", "r1")
    play_to(desk, "08:12", Receivers())

    with desk.glance() as m:
        mine = burden(m, CHECKER)
        nobody = burden(m, "A")

    assert mine is not None
    assert (mine.term, mine.messages, mine.needed) == ("Autumn", 2, 1)
    assert nobody is not None
    assert (nobody.messages, nobody.needed) == (0, 0)
