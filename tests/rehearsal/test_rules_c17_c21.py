"""Chase rules C17 to C21, clause by clause, on whole days."""

import json
from dataclasses import replace

import pytest
from days import Lines, messages, of_kind, results, told
from rule_days import day, held, states, text

from service.engine import commands

LATER = {"s3": {"routines": {"later": {"when": {"at": "08:08"}, "checker": "L", "second": "R"}}}}


def test_c17_a_key_names_chase_step_person_purpose_and_generation() -> None:
    lines = day("08:06 L 1 3 ok, 2 cable", until="08:10")

    alert = next(m for m in of_kind(lines, "message") if m["purpose"] == "alert")
    assert alert["key"] == "ch-fault-s2-morning-2026-10-05-1/0/A/alert/1"


def test_c17_a_key_is_the_same_over_retries() -> None:
    lines = day("08:00 channel R time-out", "08:16 channel R accept", until="08:19")

    attempts = [m for m in of_kind(lines, "message") if m["to"] == "R"]
    assert len(attempts) > 1
    assert len({m["key"] for m in attempts}) == len({m["id"] for m in attempts}) == 1


def test_c17_the_same_day_played_twice_is_the_same_to_the_byte() -> None:
    said = ("08:06 L 2 cable", "08:10 A mine", "08:12 service down", "08:52 service up")

    assert json.dumps(day(*said)) == json.dumps(day(*said))


def test_c17_no_key_is_accepted_twice_in_a_day_full_of_trouble() -> None:
    lines = day(
        "08:06 L 2 swallowed", "08:10 channel C refuse", "08:12 L found", "08:13 L yes", "09:20 L 2 cable"
    )

    accepted = [m["key"] for m in of_kind(lines, "message") if m["outcome"] == "accepted"]
    assert len(accepted) == len(set(accepted))


def test_c18_a_partial_reply_changes_whom_a_silence_is_about_and_never_its_times() -> None:
    lines = day("08:16 R 1 ok", until="08:31")

    assert messages(lines, "08:20") == ["08:20 C alert 2 3", "08:30 A alert 2 3"]


def test_c18_a_question_changes_no_times() -> None:
    lines = day("08:16 R help", "08:17 R not ok", until="08:31")

    assert told(lines, "C") == ["08:20"]


def test_c18_mine_holds_its_own_chase_only() -> None:
    lines = day("08:06 L 1 ok, 2 cable", "08:09 L 3 coil", "08:10 A mine 30", until="08:30")

    assert states(lines, "3") == ["08:09 climbing 0", "08:10 in hand 0"]
    assert states(lines, "2") == ["08:06 climbing 0", "08:26 climbing 1"]


def test_c18_nothing_holds_an_emergency() -> None:
    lines = day("08:06 L 2 swallowed", "08:07 A mine 60", until="08:12")

    assert told(lines, "C", ["alert"]) == ["08:06", "08:11"]
    assert "The emergency goes on at any hour" in text(lines, "A", "08:07")
    assert "In hand with you" not in text(lines, "A", "08:07")


def test_c18_anothers_mine_takes_over_and_the_first_hears_so() -> None:
    lines = day("08:06 L 1 3 ok, 2 cable", "08:10 A mine 30", "08:15 C mine 10", until="08:30")

    assert told(lines, "A", ["news"]) == ["08:15"]
    assert "Taken over" in text(lines, "A", "08:15")
    assert states(lines, "2")[-1] == "08:25 climbing 1"


def test_c19_items_keep_their_numbers_for_the_life_of_the_round() -> None:
    lines = day("08:06 L 1 ok", until="08:31")

    for message in of_kind(lines, "message"):
        if "Zinnia" in message["text"]:
            assert "3 Zinnia" in message["text"]


def test_c19_bare_mine_takes_all_of_the_message() -> None:
    lines = day("08:16 R mine 20", until="08:37")

    for student in "123":
        assert states(lines, student, "silence")[-2:] == ["08:16 in hand 1", "08:36 climbing 2"]
    asked = text(lines, "R", "08:36")
    assert all(name in asked for name in ("1 Ash", "2 Moss", "3 Zinnia"))


def test_c19_bare_working_on_several_asks_which() -> None:
    lines = day("08:21 C working", until="08:25")

    assert set(results(lines).values()) == set()
    assert told(lines, "C", ["question"]) == ["08:21"]


def test_c19_bare_working_on_one_settles_that_one() -> None:
    lines = day("08:06 L 2 cable", "08:07 A working", until="08:09")

    assert results(lines)["2"] == "working"


def test_c19_an_ok_without_a_thread_while_two_rounds_are_open_asks_which() -> None:
    lines = day("08:09 L? ok", until="08:10", students=LATER)

    assert results(lines) == {}
    assert "Two rounds are open" in text(lines, "L", "08:09")


def test_c19_an_ok_in_a_thread_is_about_the_round_of_that_message() -> None:
    lines = day("08:09 L ok", until="08:10", students=LATER)

    assert results(lines) == {"3": "working"}


def test_c20_what_was_said_during_the_outage_is_read_before_any_silence_counts() -> None:
    lines = day("08:14 service down", "08:20 L ok", "08:40 service up", until="08:50")

    assert set(results(lines).values()) == {"working"}
    assert told(lines, "R") == []


def test_c20_silence_waits_for_senders_to_try_again() -> None:
    lines = day("08:14 service down", "08:20:30 L ok", "08:40 service up", until="08:50")

    assert [line["at"][11:19] for line in of_kind(lines, "reading")] == ["08:40:30"]
    assert told(lines, "C") == []


def test_c20_after_the_grace_silence_steps_are_taken() -> None:
    lines = day("08:14 service down", "08:40 service up", until="08:50")

    assert told(lines, "R") == told(lines, "C") == told(lines, "A") == ["08:41:30"]


def test_c20_a_prompt_is_pointless_once_a_later_round_asks_the_same() -> None:
    again = {
        "morning": {"when": {"at": "08:05"}, "checker": "L", "second": "R"},
        "noon": {"when": {"at": "12:00"}, "checker": "L", "second": "R"},
    }
    lines = day("08:00 service down", "12:05 service up", until="12:10", students={"s2": {"routines": again}})

    found = {line["id"]: line["result"] for line in of_kind(lines, "check")}
    assert found == {"ck-s2-morning-2026-10-05": "not asked"}


@pytest.fixture
def unproven(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever is said in this test comes from senders who are not proven."""
    receive = commands.receive
    monkeypatch.setattr(commands, "receive", lambda desk, said: receive(desk, replace(said, proven=False)))


def asked_for_proof(lines: Lines, person: str) -> bool:
    return any("cannot be sure" in m["text"] for m in of_kind(lines, "message") if m["to"] == person)


@pytest.mark.usefixtures("unproven")
def test_c21_an_unproven_sender_can_raise_an_alarm() -> None:
    lines = day("08:06 L 2 power", until="08:10")

    assert results(lines)["2"] == "fault"
    assert told(lines, "A", ["alert"]) == ["08:06"]


@pytest.mark.usefixtures("unproven")
@pytest.mark.parametrize("words", ["ok", "all fixed", "2 away", "wait 20", "not me", "undo"])
def test_c21_an_unproven_sender_can_settle_and_delay_nothing(words: str) -> None:
    lines = day(f"08:06 L {words}", until="08:21")

    assert results(lines) == {}
    assert (told(lines, "R"), told(lines, "C")) == (["08:15"], ["08:20"])
    assert asked_for_proof(lines, "L")


@pytest.mark.usefixtures("unproven")
@pytest.mark.parametrize("words", ["mine 30", "working", "loaner"])
def test_c21_an_unproven_contact_can_hold_and_settle_no_fault(words: str) -> None:
    lines = day("08:06 L 2 power", f"08:07 A {words}", until="08:12")

    assert states(lines, "2") == ["08:06 climbing 0", "08:11 climbing 1"]
    assert asked_for_proof(lines, "A")


@pytest.mark.usefixtures("unproven")
def test_c21_of_a_mixed_reply_only_the_bad_news_counts() -> None:
    lines = day("08:06 L 2 power, rest ok", until="08:10")

    assert results(lines) == {"2": "fault"}
    assert asked_for_proof(lines, "L")


@pytest.mark.usefixtures("unproven")
def test_c21_an_unproven_coordinator_closes_no_school() -> None:
    lines = day("08:06 C? closed", until="08:16")

    assert results(lines) == {}
    assert told(lines, "R") == ["08:15"]


@pytest.mark.usefixtures("unproven")
def test_c21_an_emergency_counts_from_anybody_and_is_ended_by_nobody_unproven() -> None:
    lines = day("08:06 L 2 swallowed", "08:07 A coming", "08:08 L found", "08:09 L yes", until="08:12")

    assert told(lines, "A", ["alert"]) == ["08:06", "08:11"]
    assert states(lines, "2")[-1].endswith("alarm 0")


def test_c20_no_message_is_left_unread_when_silence_is_counted() -> None:
    lines = day("08:10 L 1 ok", "08:15 L 2 3 ok", until="08:16")

    assert set(results(lines).values()) == {"working"}
    assert told(lines, "R") == []
    assert held(lines, "settled") == []
