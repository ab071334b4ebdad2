"""Chase rules C5 to C8, clause by clause, on whole days."""

from days import messages, of_kind, results, told
from rule_days import day, held, states, text

LONG_NEWS = {"news wait": "30 min"}
TO_C_AND_A = [{"tell": "A", "limit": "20 min"}, {"tell": "C", "limit": "end of day"}]


def test_c5_what_comes_within_two_minutes_of_a_message_goes_with_the_next_one() -> None:
    lines = day("08:06 L 2 cable", "08:06:30 L 3 cable", "08:07 L 1 cable", until="08:30")

    assert told(lines, "A", ["alert"]) == ["08:06", "08:08"]
    assert messages(lines, "08:08", "08:08") == ["08:08 A alert 1 3"]
    assert held(lines, "gathering")[:2] == ["08:06:30 A alert", "08:07 A alert"]


def test_c5_waiting_moves_the_sending_and_never_the_limits() -> None:
    lines = day("08:06 L 2 cable", "08:06:30 L 3 cable", until="08:40")

    assert "08:26:30 climbing 1" in states(lines, "3")


def test_c5_an_urgent_alert_does_not_wait() -> None:
    lines = day("08:06 L 3 cable", "08:06:30 L 2 power", until="08:10")

    assert told(lines, "A", ["alert"]) == ["08:06", "08:06:30"]


def test_c5_an_answer_to_what_was_just_written_does_not_wait() -> None:
    lines = day("08:06 L 1 ok", "08:06:10 L 2 ok", "08:06:20 L 3 ok", until="08:10")

    assert told(lines, "L", ["answer"]) == ["08:06", "08:06:10", "08:06:20"]


def test_c5_news_waits_half_an_hour() -> None:
    lines = day("08:06 L 2 cable", "08:10 L 2 fixed", "08:12 L 1 3 ok", until="09:00", settings=LONG_NEWS)

    assert told(lines, "A", ["news"]) == ["08:36"]


def test_c5_news_to_who_said_mine_waits_for_the_short_window_only() -> None:
    lines = day(
        "08:06 L 2 cable",
        "08:07 A mine",
        "08:10 L 2 fixed",
        "08:12 L 1 3 ok",
        until="09:00",
        settings=LONG_NEWS,
    )

    assert told(lines, "A", ["news"]) == ["08:10"]


def test_c5_news_to_who_was_told_urgently_waits_for_the_short_window_only() -> None:
    lines = day("08:06 L 2 power", "08:07 L 2 fixed", until="09:00", settings=LONG_NEWS)

    assert told(lines, "A", ["news"]) == ["08:08"]


def test_c5_what_is_settled_while_it_waits_is_not_sent() -> None:
    lines = day("08:06 L 2 cable", "08:06:30 L 3 cable", "08:07 L 3 fixed", until="08:29")

    assert told(lines, "A", ["alert"]) == ["08:06"]
    assert held(lines, "settled") == ["08:07 A alert"]
    assert told(lines, "A", ["news"]) == []


def test_c6_mine_stops_the_climb_until_then_and_the_answer_says_the_time() -> None:
    lines = day("08:06 L 2 cable", "08:10 A mine 25", until="08:49")

    assert "until 08:35" in text(lines, "A", "08:10", "answer")
    assert states(lines, "2") == ["08:06 climbing 0", "08:10 in hand 0", "08:35 climbing 1"]


def test_c6_mine_without_minutes_is_half_an_hour() -> None:
    assert "until 08:40" in text(
        day("08:06 L 2 cable", "08:10 A mine", until="08:11"), "A", "08:10", "answer"
    )


def test_c6_nobody_is_granted_more_than_an_hour() -> None:
    lines = day("08:06 L 2 cable", "08:10 A mine 90", until="08:11")

    assert "until 09:10" in text(lines, "A", "08:10", "answer")


def test_c6_a_chain_that_holds_grants_nothing_past_the_end_of_the_day() -> None:
    lines = day("08:06 L 1 3 ok", "14:00 L 2 cable", "14:20 A mine 60")

    assert "until 15:00" in text(lines, "A", "14:20", "answer")


def test_c6_a_chain_that_carries_on_grants_time_after_hours() -> None:
    lines = day("08:06 L 1 3 ok", "14:00 L 2 power", "14:04 A mine 60", "14:50 A mine 60", until="16:10")

    assert "until 15:50" in text(lines, "A", "14:50", "answer")
    assert "15:50 climbing 1" in states(lines, "2")


def test_c6_when_it_passes_they_are_asked_and_the_next_step_is_told_at_once() -> None:
    lines = day("08:06 L 1 3 ok, 2 cable", "08:10 A mine 10", until="08:30")

    assert messages(lines, "08:20", "08:20") == ["08:20 A question 2", "08:20 C alert 2"]


def test_c6_anyone_named_in_the_chain_may_take_it_before_being_told() -> None:
    lines = day("08:06 L 1 3 ok, 2 cable", "08:10 C mine 20", until="08:40")

    assert states(lines, "2")[1:] == ["08:10 in hand 0", "08:30 climbing 1"]


def test_c6_somebody_outside_the_chain_cannot_take_it() -> None:
    lines = day("08:06 L 1 3 ok, 2 cable", "08:10 O mine 20", until="08:40")

    assert states(lines, "2") == ["08:06 climbing 0", "08:26 climbing 1"]


def test_c6_it_can_be_renewed_once_and_after_that_the_climb_goes_on_beside_it() -> None:
    lines = day(
        "08:06 L 1 3 ok, 2 cable", "08:10 A mine 20", "08:25 A mine 20", "08:40 A mine 60", until="09:10"
    )

    assert states(lines, "2") == [
        "08:06 climbing 0",
        "08:10 in hand 0",
        "08:25 in hand 0",
        "08:40 in hand 0",
        "08:45 climbing 1",
        "09:00 climbing 2",
    ]
    assert told(lines, "C", ["alert"]) == ["08:45"]
    assert "until 08:45" in text(lines, "A", "08:40", "answer")


def test_c7_a_silence_is_settled_by_any_result() -> None:
    lines = day("08:06 L 1 ok, 2 cable, 3 away", until="08:30")

    assert results(lines) == {"1": "working", "2": "fault", "3": "away"}
    assert told(lines, "R") == []


def test_c7_working_from_a_second_checker_settles_a_fault() -> None:
    lines = day("08:06 L 1 3 ok, 2 cable", "08:20 R 2 working", until="08:40")

    assert states(lines, "2")[-1] == "08:20 put right 0"
    assert told(lines, "C", ["alert"]) == []


def test_c7_working_from_a_guardian_stops_the_climb_and_leaves_the_fault_open() -> None:
    lines = day("08:06 L 1 3 ok, 2 power", "08:17 G works at home", "15:01 A ok", until="15:10")

    assert states(lines, "2")[-1] == "08:17 said to be working 2"
    assert results(lines)["2"] == "fault"
    assert lines[-1]["open"] == ["ch-fault-s2-morning-2026-10-05-1"]


def test_c7_what_was_said_to_be_working_is_closed_by_the_next_check_on_the_child() -> None:
    lines = day("08:06 L 1 3 ok, 2 power", "08:17 G works at home", "09:00 R 2 ok", until="09:10")

    assert results(lines)["2"] == "working"
    assert states(lines, "2")[-1] == "09:00 put right 2"


def test_c7_what_was_said_to_be_working_and_is_not_climbs_on_at_once() -> None:
    steps = [{"tell": "guardian", "limit": "20 min"}, {"tell": "C", "limit": "end of day"}]
    lines = day(
        "08:06 L 1 3 ok, 2 cable", "08:10 G works", "08:15 L 2 cable", until="08:20",
        chains={"same-day": {"steps": steps}},
    )  # fmt: skip

    assert states(lines, "2") == ["08:06 climbing 0", "08:10 said to be working 0", "08:15 climbing 1"]
    assert told(lines, "C", ["alert"]) == ["08:15"]


def test_c7_a_loaner_settles_the_chase_and_the_fault_stays_open() -> None:
    lines = day("08:06 L 1 3 ok, 2 cable", "08:20 A loaner", until="08:40")

    assert states(lines, "2")[-1] == "08:20 loaner 0"
    assert results(lines)["2"] == "fault"
    assert told(lines, "C") == []


def test_c7_the_student_going_home_settles_a_fault() -> None:
    lines = day("08:06 L 1 3 ok, 2 cable", "08:20 L 2 went home", until="08:40")

    assert states(lines, "2")[-1] == "08:20 away 0"


def test_c7_everyone_told_hears_the_end_once_except_who_settled_it() -> None:
    lines = day("08:06 L 1 3 ok, 2 power", "08:12 R 2 fixed", until="08:40")

    assert sorted(m["to"] for m in of_kind(lines, "message") if m["purpose"] == "news") == ["A", "C", "L"]
    assert told(lines, "R") == ["08:12"]


def test_c8_a_bare_ok_from_another_person_never_settles_a_fault() -> None:
    lines = day("08:06 L all ok", "08:09 R 2 coil", "08:12 L ok", until="08:20")

    assert results(lines)["2"] == "fault"
    assert "put right" in text(lines, "L", "08:12", "question")


def test_c8_yes_to_that_question_settles_it() -> None:
    lines = day("08:06 L all ok", "08:09 R 2 coil", "08:12 L ok", "08:13 L yes", until="08:20")

    assert results(lines)["2"] == "fixed"


def test_c8_an_ok_for_the_whole_round_after_ones_own_fault_leaves_the_fault() -> None:
    lines = day("08:06 L 2 cable", "08:08 L ok", until="08:12")

    assert results(lines) == {"1": "working", "2": "fault", "3": "working"}


def test_c8_words_that_point_at_the_student_settle_it() -> None:
    assert results(day("08:06 L 2 cable", "08:08 L 2 ok", until="08:12"))["2"] == "working"
    assert results(day("08:06 L 2 cable", "08:08 L Moss fixed", until="08:12"))["2"] == "fixed"


def test_c8_who_had_said_that_all_is_well_hears_that_it_is_not() -> None:
    lines = day("08:06 L all ok", "08:09 R 2 coil", until="08:12")

    assert messages(lines, "08:09", "08:09") == ["08:09 A alert 2", "08:09 L news 2", "08:09 R answer 1 2 3"]
