"""Several messages that belong together, on each database: question and answer, correction, the round that is meant."""

import pytest

from service.engine import commands
from service.engine.desk import Desk
from tests.engine.engine_district import district
from tests.engine.engine_talk import CHECKER, SECOND, Talk, talk

__all__ = ["talk"]


class TestTheQuestionAsked:
    """An answer is put together with the words it answers; nothing is taken for better news than was said."""

    def test_a_number_says_who_the_battery_belongs_to(self, talk: Talk) -> None:
        assert "Which student is meant" in talk.write("battery dead")
        answer = talk.write("2")

        assert "Recorded: 2 bat, left." in answer
        assert talk.results() == [None, "fault", None]

    def test_a_word_says_what_is_wrong_with_whom_we_asked_about(self, talk: Talk) -> None:
        assert "what is wrong" in talk.write("2 not ok")
        talk.write("no light")

        assert talk.results() == [None, "fault", None]

    def test_ok_counts_only_for_those_asked_about(self, talk: Talk) -> None:
        assert "2 Tree01: working for certain?" in talk.write("2 seems fine")
        answer = talk.write("ok")

        assert talk.results() == [None, "working", None]
        assert "Not answered yet: 1 and 3." in answer

    @pytest.mark.parametrize("words", ["2 not ok", "2 not here yet"])
    def test_ok_to_a_question_it_does_not_answer_is_no_result(self, talk: Talk, words: str) -> None:
        talk.write(words)
        talk.write("ok")

        assert talk.results() == [None] * 3

    def test_rest_ok_after_it_leaves_out_whom_we_asked_about(self, talk: Talk) -> None:
        talk.write("2 not ok")
        answer = talk.write("rest ok")

        assert talk.results() == ["working", None, "working"]
        assert "2 Tree01: what is wrong?" in answer

    def test_what_an_answer_leaves_open_is_asked_on(self, talk: Talk) -> None:
        talk.write("2 seems fine, 3 not ok")
        answer = talk.write("yes")
        assert "3 Tree02: what is wrong?" in answer
        talk.write("cable")

        assert talk.results() == [None, "working", "fault"]

    def test_words_that_do_not_answer_leave_the_question_open(self, talk: Talk) -> None:
        talk.write("battery dead")
        assert "Which student is meant" in talk.write("gnrf")
        talk.write("3")

        assert talk.results() == [None, None, "fault"]

    def test_the_question_stays_open_in_a_thread_that_began_with_the_prompt(self, talk: Talk) -> None:
        prompt = talk.asked(CHECKER, "prompt")
        talk.write("2 seems fine", re=prompt)
        talk.write("ok", re=prompt)

        assert talk.results() == [None, "working", None]

    def test_after_a_reminder_ok_is_for_all_that_it_asks(self, talk: Talk) -> None:
        talk.write("2 seems fine")
        talk.at("08:11")
        talk.write("ok")

        assert talk.results() == ["working"] * 3

    def test_news_in_between_leaves_the_question_open(self, talk: Talk) -> None:
        talk.at("08:16")
        talk.write("2 seems fine")
        talk.write("3 ok", SECOND)
        talk.at("08:25")
        assert talk.times_told(CHECKER, "news") == 1
        talk.write("ok")

        assert talk.results() == [None, "working", "working"]

    def test_fixed_to_our_question_settles_anothers_report(self, talk: Talk) -> None:
        talk.at("08:16")
        talk.write("2 cable", SECOND)
        assert "Is that put right?" in talk.write("ok")
        talk.write("ok")
        assert talk.results() == ["working", "fault", "working"]
        talk.write("fixed")

        assert talk.results() == ["working", "fixed", "working"]

    def test_a_contact_says_which_one_works(self, talk: Talk) -> None:
        talk.write("1 power, 2 power, 3 ok")
        talk.at("08:12")
        talk.write("working", "A")
        talk.write("2", "A")

        assert talk.results() == ["fault", "working", "working"]

    def test_who_swallowed_it_is_put_beside_the_emergency(self, talk: Talk) -> None:
        talk.write("somebody swallowed a battery")
        talk.write("2")

        assert talk.results() == [None, "fault", None]
        assert talk.chases("fault") == ["alarm"]


class TestTheCorrection:
    """What was said within five minutes is replaced, and what it had set in motion called back."""

    def test_the_other_student_is_meant(self, talk: Talk) -> None:
        talk.write("3 power, rest ok")
        talk.at("08:08")
        answer = talk.write("no wait, 2 not 3")

        assert talk.results() == ["working", "fault", "working"]
        assert "This stands in place of your last answer." in answer
        assert "Taken back" not in answer
        assert len(talk.chases("fault")) == 1

    def test_who_was_told_hears_that_it_was_taken_back(self, talk: Talk) -> None:
        talk.write("3 sore ear, rest ok")
        talk.at("08:08")
        assert talk.receivers.last["A"].text.startswith("Urgent: 1 fault")
        talk.write("2 not 3")
        talk.at("08:14")

        told = [m.text for m in talk.receivers.told("A")]
        assert any("taken back" in text for text in told)
        assert sum(text.startswith("Urgent") for text in told) == 2

    def test_a_correction_of_an_answer_to_a_question(self, talk: Talk) -> None:
        talk.write("battery dead")
        talk.write("2")
        talk.write("sorry, 3 not 2")

        assert talk.results() == [None, None, "fault"]

    def test_after_five_minutes_nothing_is_replaced(self, talk: Talk) -> None:
        talk.write("3 power, rest ok")
        talk.at("08:12")
        talk.write("no wait, 2 not 3")

        assert talk.results() == ["working", "working", "fault"]

    def test_not_ok_after_ok_is_bad_news_and_no_correction(self, talk: Talk) -> None:
        talk.write("2 ok")
        talk.write("2 not ok")

        assert "what is wrong" in talk.receivers.last[CHECKER].text


class TestTwoRoundsOpen:
    """The question names the rounds, and its answer settles which."""

    @pytest.fixture
    def both(self, desk: Desk) -> Talk:
        held = Talk(desk)
        documents = district(rooms=2)
        for child in range(3):
            routine = documents["students"][f"school000-room1-child{child}"]["routines"]["morning"]
            routine |= {"checker": CHECKER, "when": {"at": "08:08"}}
        commands.configure(desk, documents, "test")
        held.at("08:11")
        return held

    def test_they_are_named_by_time_and_room(self, both: Talk) -> None:
        answer = both.write("ok")

        assert "Two rounds are open. Which is meant? 1: 08:05, Room 0; 2: 08:08, Room 1." in answer
        assert both.results() == [None] * 6

    @pytest.mark.parametrize("choice", ["2", "08:08", "room 1", "808"])
    def test_the_answer_gives_the_words_before_to_that_round(self, both: Talk, choice: str) -> None:
        both.write("ok")
        answer = both.write(choice)

        assert both.results() == [None] * 3 + ["working"] * 3
        assert "Recorded: 1, 2 and 3 working." in answer

    def test_both_gives_them_to_both(self, both: Talk) -> None:
        both.write("ok")
        both.write("both")

        assert both.results() == ["working"] * 6

    def test_a_number_that_both_have_is_asked_about(self, both: Talk) -> None:
        assert "Which is meant" in both.write("2 power")
        both.write("1")

        assert both.results() == [None, "fault", *[None] * 4]

    def test_a_name_needs_no_question(self, both: Talk) -> None:
        both.write("Tree11 power")

        assert both.results() == [*[None] * 4, "fault", None]

    def test_what_names_no_round_is_asked_again(self, both: Talk) -> None:
        both.write("ok")
        both.write("3")

        assert both.results() == [None] * 6
