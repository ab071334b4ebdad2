"""A conversation, word by word, on each database: what somebody writes, what they read back, what comes of it."""

import pytest

from service.core.reading import NotDone, Outcome, Result, Then
from service.engine import commands
from tests.engine.engine_talk import CHECKER, ROUND, SECOND, Talk, talk

__all__ = ["talk"]


class TestUndo:
    """It takes back what the person did last, whatever that was, and nothing before it."""

    def test_after_mine_the_chase_climbs_on_and_the_answers_before_it_stand(self, talk: Talk) -> None:
        talk.at("08:16")
        talk.write("1 ok", SECOND)
        assert "In hand with you until 08:36" in talk.write("mine 20", SECOND)
        assert "Taken back." in talk.write("undo", SECOND)
        talk.at("08:21")

        assert talk.results() == ["working", None, None]
        assert talk.receivers.last["C"].text.startswith("2 checks")

    def test_after_a_loaner_the_fault_runs_on_and_stands(self, talk: Talk) -> None:
        talk.write("1 power, rest ok")
        talk.at("08:12")
        talk.write("loaner", "A")
        assert talk.chases("fault") == []
        talk.write("undo", "A")

        assert len(talk.chases("fault")) == 1
        assert talk.results() == ["fault", "working", "working"]

    def test_after_a_wish_to_be_asked_later_the_check_is_open_as_before(self, talk: Talk) -> None:
        talk.write("1 ok")
        later = Outcome(Result.NOT_DONE, reason=NotDone.NOT_ARRIVED, then=Then.NEXT_BELL)
        commands.press(talk.desk, CHECKER, ROUND, {2: later}, "p1")
        assert len(talk.chases("silence")) == 1
        talk.write("undo")

        assert (len(talk.chases("silence")), talk.results()) == (2, ["working", None, None])
        talk.at("08:16")
        assert talk.receivers.last[SECOND].text.startswith("2 checks")
        assert talk.times_told(CHECKER, "prompt") == 1

    def test_a_turn_passed_on_stays_passed_on_and_says_so(self, talk: Talk) -> None:
        talk.write("1 ok")
        talk.write("not me")
        assert "has been told already" in talk.write("undo")

        assert talk.results()[0] == "working"

    def test_twice_takes_back_two_things(self, talk: Talk) -> None:
        talk.write("1 ok")
        talk.write("wait 5")
        talk.write("undo")
        talk.write("undo")

        assert talk.results() == [None, None, None]


class TestTime:
    """Putting off, passing on and asking who is next, within what the chain allows."""

    def test_later_is_offered_a_time_and_asked_again_then(self, talk: Talk) -> None:
        answer = talk.write("2 not here yet")
        assert "We ask again at 08:10. Absent? Answer \"2 away\". At 08:15 the second checker is told." in answer
        talk.at("08:09")
        before = talk.times_told(CHECKER, "reminder")
        talk.at("08:11")

        assert talk.times_told(CHECKER, "reminder") == before + 1
        assert talk.results() == [None, None, None]

    def test_later_after_the_reminder_is_a_reminder_more_and_a_little_time(self, talk: Talk) -> None:
        talk.at("08:13")
        assert "We ask again at 08:15." in talk.write("not here yet")
        talk.at("08:17")

        assert talk.times_told(CHECKER, "reminder") == 2
        assert talk.times_told(SECOND, "second") == 0
        talk.at("08:19")
        assert SECOND in talk.receivers.last

    def test_a_second_later_gets_no_more_time_and_hears_who_is_next(self, talk: Talk) -> None:
        talk.write("not here yet")
        talk.at("08:12")
        answer = talk.write("not yet")

        assert "We ask again" not in answer
        assert "At 08:15 the second checker is told." in answer

    def test_wait_is_granted_once_and_refused_politely_after_that(self, talk: Talk) -> None:
        assert "You have until 08:16. Then the second checker is told." in talk.write("wait 10")
        talk.at("08:12")

        assert "That is as long as it can wait. The second checker is told at 08:16." in talk.write("wait 10")

    def test_not_me_passes_the_turn_on_only_from_whoever_has_it(self, talk: Talk) -> None:
        assert "Nothing has changed: it is with the checker now." in talk.write("not me", SECOND)
        assert "The second checker is told now." in talk.write("not me")
        talk.at("08:09")
        assert talk.receivers.last[SECOND].text.startswith("3 checks")

    def test_cannot_passes_a_contacts_turn_on_at_once(self, talk: Talk) -> None:
        talk.write("1 power, rest ok")
        talk.at("08:12")
        talk.write("cannot", "A")

        assert talk.receivers.last["C"].text.startswith("Urgent: 1 fault")

    def test_who_says_with_whom_it_is_and_who_is_next(self, talk: Talk) -> None:
        talk.write("1 cable, rest ok")
        assert talk.write("who").splitlines()[-2] == "1: nobody is told yet; at 08:16 the audiologist is told."
        talk.at("08:17")
        assert talk.write("who").splitlines()[-2] == "1: with the audiologist now; at 08:36 the coordinator is told."

    def test_an_answer_says_who_is_next_for_what_is_open(self, talk: Talk) -> None:
        assert "Not answered yet: 2 and 3. Next: the second checker at 08:15." in talk.write("1 ok")

    def test_a_fault_that_waits_for_nothing_says_who_is_told(self, talk: Talk) -> None:
        assert "The audiologist is told now." in talk.write("1 sore ear, rest ok")

    @pytest.mark.parametrize("words", ["later", "busy", "too busy right now", "sorry, not now", "in a minute"])
    def test_later_without_a_number_gets_the_offer_for_all(self, talk: Talk, words: str) -> None:
        answer = talk.write(words)
        assert "We ask again at 08:10." in answer
        assert "At 08:15 the second checker is told." in answer
        assert talk.results() == [None, None, None]
        talk.at("08:11")
        assert talk.times_told(CHECKER, "reminder") == 1

    def test_the_offer_shows_by_an_example_how_to_say_who_is_absent(self, talk: Talk) -> None:
        talk.write("1 ok")
        assert 'Absent? Answer "2 away".' in talk.write("later")
        talk.write("2 away")
        assert 'Absent? Answer "3 away".' in talk.write("busy")
        assert talk.results() == ["working", "away", None]

    @pytest.mark.parametrize("words", ["busy light is red", "not now working", "the purple one did a thing"])
    def test_what_is_only_like_it_does_not(self, talk: Talk, words: str) -> None:
        assert "We ask again" not in talk.write(words)


class TestHelp:
    """It fits a phone's screen and shows this round's own numbers, names and devices."""

    def test_its_examples_are_answers_to_this_very_round(self, talk: Talk) -> None:
        text = talk.write("help")
        assert '"1 ok", "2 cable", "2 fixed", "3 away"' in text
        assert "1 Tree00; 2 Tree01; 3 Tree02" in text
        for example, result in (("1 ok", "working"), ("2 cable", "fault"), ("2 fixed", "fixed"), ("3 away", "away")):
            talk.write(example)
            assert talk.results()[int(example[0]) - 1] == result

    def test_the_words_to_the_service_in_it_are_understood(self, talk: Talk) -> None:
        assert "You have until 08:16." in talk.write("wait 10")
        assert "at 08:16 the second checker is told" in talk.write("who")
        assert "The second checker is told now." in talk.write("not me")

    def test_a_contact_reads_what_a_contact_can_say(self, talk: Talk) -> None:
        talk.write("1 power, rest ok")
        talk.at("08:12")
        text = talk.write("help", "A")
        assert '"working", "loaner"' in text
        assert "mine 30" in text

    @pytest.mark.parametrize("person", [CHECKER, "A"])
    def test_it_fits_a_phone(self, talk: Talk, person: str) -> None:
        talk.write("1 power, rest ok")
        talk.at("08:12")
        assert len(talk.write("help", person)) <= 320
