"""Channels that many read get the link only, also when they are the way that is left."""

import pytest

from service.core.chains import Purpose
from service.engine import commands, postman, running
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.engine.postman import Outcome, Report
from service.store import marks
from tests.engine.engine_district import Documents, district
from tests.engine.engine_morning import Receivers, at, messages, play_to, says

CHECKER = "school000-room0"


@pytest.fixture
def documents() -> Documents:
    """The checker reads a chat of their own, and a room that forty read."""
    made = district()
    made["channels"]["room"] = {**made["channels"]["chat"], "shared": True}
    made["people"][CHECKER]["channels"] = [{"chat": "own"}, {"room": "forty"}]
    return made


def refuse_all(desk: Desk) -> None:
    """Every address refuses for good what is on its way now, until nothing is left to try."""
    while errands := postman.claim(desk, desk.clock.now()):
        for errand in errands:
            postman.record(desk, errand, Report(Outcome.REFUSED, "no", for_good=True), desk.clock.now())


def test_an_answer_to_private_words_is_never_told_where_many_read(desk: Desk, documents: Documents) -> None:
    commands.configure(desk, documents, "test")
    play_to(desk, "08:06", Receivers())
    says(desk, CHECKER, "1 cable", "m1")
    running.run_due(desk, desk.clock.now())
    refuse_all(desk)

    (answer,) = [m for m in messages(desk.store) if m.purpose == Purpose.ANSWER.value]
    assert "cable" in answer.text
    assert (answer.channel, answer.state) == ("chat", "refused")


def test_where_only_the_shared_way_is_left_of_a_step_it_holds_the_link_only(
    desk: Desk, documents: Documents
) -> None:
    documents["chains"]["silence"]["steps"][0]["channels"] = ["chat"]
    commands.configure(desk, documents, "test")
    with desk.moment() as m:
        marks.set(m.tx, f"gone/{CHECKER}/chat", m.now, {})
    assert isinstance(desk.clock, SteppedClock)
    desk.clock.move_to(at("08:05"))
    running.run_due(desk, at("08:05"))

    (prompt,) = messages(desk.store)
    assert prompt.channel == "room"
    assert "Tree" not in prompt.text
