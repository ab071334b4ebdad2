"""Answers to an earlier day's message, on each database: today stands, nothing said is lost."""

from sqlmodel import select

from service.store.tables import CheckRow
from tests.engine.engine_talk import CHECKER, Talk, talk

__all__ = ["talk"]

MONDAY, TUESDAY = "2026-10-05", "2026-10-06"
OVER = "That message was for an earlier day, so nothing is changed today."


def late(talk: Talk) -> list[str | None]:
    """What is kept beside Monday's results."""
    with talk.desk.store.reading() as tx:
        found = sorted(tx.exec(select(CheckRow)), key=lambda c: c.id)
    return [c.body.get("late", {}).get("result") for c in found if MONDAY in c.id]


class TestTheChecker:
    def test_an_ok_is_kept_beside_yesterdays_silence_and_changes_nothing_of_today(self, talk: Talk) -> None:
        asked = talk.asked(CHECKER, "prompt")
        talk.at("08:06", TUESDAY)
        answer = talk.write("2 away, rest ok", re=asked)

        assert talk.results_on(MONDAY) == ["unanswered"] * 3
        assert late(talk) == ["working", "away", "working"]
        assert talk.results_on(TUESDAY) == [None] * 3
        assert OVER in answer
        assert "Recorded: 1 and 3 working; 2 away." in answer
        assert "Nothing is left to answer" not in answer

    def test_an_answer_to_what_was_answered_then_is_not_kept_twice(self, talk: Talk) -> None:
        asked = talk.asked(CHECKER, "prompt")
        talk.write("ok")
        talk.at("08:06", TUESDAY)
        answer = talk.write("ok", re=asked)

        assert late(talk) == [None] * 3
        assert OVER in answer
        assert "Recorded" not in answer

    def test_a_late_fault_is_chased_today(self, talk: Talk) -> None:
        asked = talk.asked(CHECKER, "prompt")
        talk.at("08:06", TUESDAY)
        talk.write("2 power", re=asked)

        assert late(talk) == [None, "fault", None]
        assert len(talk.chases("fault")) == 1
        talk.at("08:12", TUESDAY)
        assert talk.receivers.last["A"].text.startswith("Urgent: 1 fault")

    def test_fixed_settles_yesterdays_fault_that_is_still_open(self, talk: Talk) -> None:
        asked = talk.asked(CHECKER, "prompt")
        talk.write("1 cable, rest ok")
        talk.at("08:06", TUESDAY)
        talk.write("1 fixed", re=asked)

        assert talk.chases("fault") == []
        assert talk.results_on(TUESDAY) == [None] * 3

    def test_it_settles_nothing_that_was_reported_again_today(self, talk: Talk) -> None:
        asked = talk.asked(CHECKER, "prompt")
        talk.write("1 cable, rest ok")
        talk.at("08:06", TUESDAY)
        talk.write("1 cable, rest ok", re=talk.asked(CHECKER, "prompt"))
        answer = talk.write("1 fixed", re=asked)

        assert len(talk.chases("fault")) == 1
        assert talk.results_on(TUESDAY) == ["fault", "working", "working"]
        assert OVER in answer

    def test_what_was_said_in_it_can_be_undone_in_it(self, talk: Talk) -> None:
        asked = talk.asked(CHECKER, "prompt")
        talk.at("08:06", TUESDAY)
        talk.write("ok", re=asked)
        assert "Taken back." in talk.write("undo", re=asked)

        assert late(talk) == [None] * 3


class TestTheContact:
    """An alert of yesterday whose chase still runs is answered as if it had come today."""

    def test_mine_takes_it_in_hand(self, talk: Talk) -> None:
        alert = self._told_yesterday(talk)
        answer = talk.write("mine 20", "A", re=alert)

        assert "In hand with you until 07:55." in answer
        assert OVER not in answer
        assert talk.chases("fault") == ["in hand"]

    def test_working_settles_it(self, talk: Talk) -> None:
        alert = self._told_yesterday(talk)
        answer = talk.write("working", "A", re=alert)

        assert talk.chases("fault") == []
        assert OVER not in answer

    def test_once_it_is_over_nothing_is_changed(self, talk: Talk) -> None:
        alert = self._told_yesterday(talk)
        talk.write("working", "A", re=alert)
        talk.at("08:06", TUESDAY)

        assert OVER in talk.write("mine 20", "A", re=alert)

    def _told_yesterday(self, talk: Talk) -> str:
        talk.write("1 cable, rest ok")
        talk.at("08:30")
        alert = talk.asked("A", "alert")
        talk.at("07:35", TUESDAY)
        assert len(talk.chases("fault")) == 1
        return alert
