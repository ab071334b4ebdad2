"""Chase rules C9 to C12, clause by clause, on whole days."""

from days import LATE_START, messages, of_kind, results, told
from rule_days import day, held, states, text


def test_c9_an_undo_within_five_minutes_takes_the_fault_back_and_those_who_heard_hear_so() -> None:
    lines = day("08:06 L 2 cable", "08:08 L undo", until="08:20")

    assert results(lines)["2"] is None
    assert told(lines, "A") == ["08:06", "08:08"]
    assert "08:15 R alert 1 2 3" in messages(lines)


def test_c9_an_undo_that_comes_later_changes_nothing() -> None:
    lines = day("08:06 L 2 cable", "08:11:01 L undo", until="08:12")

    assert results(lines)["2"] == "fault"
    assert "too long ago" in text(lines, "L", "08:11:01")


def test_c9_after_a_contact_said_mine_an_undo_is_a_message_to_that_contact() -> None:
    lines = day("08:06 L 2 cable", "08:07 A mine 30", "08:10 L undo", until="08:20")

    assert results(lines)["2"] == "fault"
    assert states(lines, "2")[-1].startswith("08:10 in hand")
    assert told(lines, "A", ["news"]) == ["08:10"]


def test_c9_after_a_contact_lent_a_device_an_undo_is_a_message_to_that_contact() -> None:
    lines = day("08:06 L 2 cable", "08:07 A loaner", "08:10 L undo", until="08:20")

    assert results(lines)["2"] == "fault"
    assert told(lines, "A", ["news"]) == ["08:10"]


def test_c9_after_a_contact_said_working_an_undo_is_a_message_to_that_contact() -> None:
    lines = day("08:06 L 2 cable", "08:07 A working", "08:10 L undo", until="08:20")

    assert results(lines)["2"] == "working"
    assert told(lines, "A", ["news"]) == ["08:10"]


def test_c9_an_undone_ok_puts_the_silence_where_it_would_be_by_now() -> None:
    lines = day("08:16 R ok", "08:20:30 R undo", until="08:31")

    assert told(lines, "R", ["alert"]) == ["08:15"]
    assert told(lines, "C", ["alert"]) == ["08:20:30"]
    assert told(lines, "A", ["alert"]) == ["08:30"]


def test_c9_nobody_is_told_the_same_step_twice() -> None:
    lines = day("08:16 R ok", "08:17 R undo", "08:18 R ok", "08:19 R undo", until="08:26")

    assert told(lines, "R", ["alert"]) == ["08:15"]
    assert told(lines, "C", ["alert"]) == ["08:20"]


def test_c9_an_undone_fixed_lets_the_fault_climb_on_as_it_would() -> None:
    lines = day("08:06 L 1 3 ok, 2 cable", "08:20 L 2 fixed", "08:23 L undo", until="08:42")

    assert results(lines)["2"] == "fault"
    assert told(lines, "A", ["news"]) == ["08:20", "08:23"]
    assert told(lines, "C", ["alert"]) == ["08:26"]


def test_c9_an_undo_takes_back_the_last_reply_and_no_earlier_one() -> None:
    lines = day("08:06 L 1 ok", "08:07 L 2 ok", "08:08 L undo", until="08:09")

    assert (results(lines)["1"], results(lines)["2"]) == ("working", None)


def test_c9_an_undo_with_nothing_to_take_back_says_so() -> None:
    assert "nothing to record" in text(day("08:06 L undo", until="08:07"), "L", "08:06")


def test_c10_a_closed_school_ends_every_silence_as_no_check_and_those_told_hear_it_once() -> None:
    lines = day("08:18 notice C closed")

    assert set(results(lines).values()) == {"no check"}
    assert messages(lines, "08:18") == ["08:18 L no_check 1 2 3", "08:18 R no_check 1 2 3"]


def test_c10_a_notice_before_the_bell_asks_nothing_and_tells_nobody() -> None:
    lines = day("07:00 notice C closed")

    assert messages(lines) == []
    assert set(results(lines).values()) == {"no check"}


def test_c10_what_is_not_yet_sent_when_the_notice_comes_is_not_sent() -> None:
    lines = day(
        "08:06 L 1 ok", "08:06 L 2 cable", "08:06:30 L 3 cable", "08:07 notice C away s3", until="08:30"
    )

    assert told(lines, "A", ["alert"]) == ["08:06"]
    assert "08:07 A alert" in held(lines, "settled")


def test_c10_an_adult_who_is_away_passes_their_current_step_on_at_once() -> None:
    lines = day("08:16 notice C away R", until="08:30")

    assert told(lines, "C") == ["08:16"]
    assert told(lines, "A") == ["08:26"]


def test_c10_who_had_it_in_hand_and_is_away_now_gives_it_up() -> None:
    lines = day("08:06 L 1 3 ok, 2 cable", "08:10 A mine 60", "08:20 notice C away A", until="08:30")

    assert told(lines, "C", ["alert"]) == ["08:20"]


def test_c10_a_notice_that_is_withdrawn_passes_nothing_on() -> None:
    lines = day("07:30 notice C away R", "07:40 notice C back R", until="08:21")

    assert told(lines, "R") == ["08:15"]


def test_c10_a_student_who_is_away_is_no_longer_chased() -> None:
    lines = day("08:12 notice C away s2", until="08:16")

    assert results(lines)["2"] == "away"
    assert "08:15 R alert 1 3" in messages(lines)


def test_c10_the_fault_of_a_student_who_went_home_is_settled_for_now() -> None:
    lines = day("08:06 L 1 3 ok, 2 cable", "08:12 notice C away s2", until="09:00")

    assert states(lines, "2")[-1] == "08:12 away 0"
    assert told(lines, "A", ["news"]) == ["08:12"]
    assert told(lines, "C", ["alert"]) == []


def test_c10_a_delay_moves_what_is_not_yet_asked_with_the_bells() -> None:
    lines = day("07:00 notice C delay 2 h", until="10:30")

    assert told(lines, "L") == ["10:05", "10:10"]
    assert told(lines, "R") == ["10:15"]


def test_c10_what_is_asked_keeps_its_chase_with_its_limits_from_the_new_due_time() -> None:
    lines = day("08:06 notice C delay 1 h", until="09:21")

    assert told(lines, "L") == ["08:05", "09:10"]
    assert told(lines, "R") == ["09:15"]
    assert len({c["id"] for c in of_kind(lines, "chase")}) == 3


def test_c10_an_early_end_makes_the_results_then() -> None:
    lines = day("08:40 notice C early end 12:00")

    assert {line["at"][11:16] for line in of_kind(lines, "check")} == {"12:00"}


UNTIL_PERIOD_2 = {"until": "end of Period 2", "else": "12 min"}


def urgent_until(limit: dict[str, str]) -> dict[str, object]:
    return {"urgent": {"steps": [{"tell": "A", "limit": limit}, {"tell": "C", "limit": "end of day"}]}}


def test_c11_until_a_bell_means_that_bell_today() -> None:
    lines = day("08:06 L 1 3 ok, 2 power", until="10:00", chains=urgent_until(UNTIL_PERIOD_2))

    assert told(lines, "C", ["alert"]) == ["09:50"]


def test_c11_a_day_without_that_bell_has_the_else_limit() -> None:
    lines = day("08:06 L 1 3 ok, 2 power", on=LATE_START, until="10:00", chains=urgent_until(UNTIL_PERIOD_2))

    assert told(lines, "C", ["alert"]) == ["08:18"]


def test_c11_a_bell_less_than_five_minutes_away_has_the_else_limit_too() -> None:
    chains = urgent_until({"until": "start of Period 1", "else": "12 min"})

    close = day("08:11 L 1 3 ok, 2 power", until="08:30", chains=chains)
    just_far_enough = day("08:10 L 1 3 ok, 2 power", until="08:30", chains=chains)

    assert told(close, "C", ["alert"]) == ["08:23"]
    assert told(just_far_enough, "C", ["alert"]) == ["08:15"]


def test_c11_without_an_else_limit_ten_minutes_are_given() -> None:
    lines = day(
        "08:06 L 1 3 ok, 2 power",
        on=LATE_START,
        until="08:30",
        chains=urgent_until({"until": "end of Period 2"}),
    )

    assert told(lines, "C", ["alert"]) == ["08:16"]


def test_c12_at_the_last_bell_silences_become_unanswered_and_two_people_get_one_message_each() -> None:
    lines = day()

    assert set(results(lines).values()) == {"unanswered"}
    assert messages(lines, "15:00") == ["15:00 A chain_end 1 2 3", "15:00 C chain_end 1 2 3"]


def test_c12_silence_is_not_held_against_people_who_were_not_reached() -> None:
    lines = day(
        "08:00 channel L refuse", "08:00 channel R refuse", "08:00 channel C refuse", "08:00 channel A refuse"
    )

    assert set(results(lines).values()) == {"not asked"}


def test_c12_a_same_day_fault_holds_until_half_an_hour_before_the_next_school_day() -> None:
    lines = day("08:06 L ok", "14:29 L 2 cable")

    assert states(lines, "2")[-1] == "15:00 until next school day 1"
    last = [c for c in of_kind(lines, "chase") if c["why"] == "fault"][-1]
    assert last["until"] == "2026-10-06T07:30:00-05:00"
    assert told(lines, "G") == []


def test_c12_an_urgent_fault_carries_on_after_the_last_bell() -> None:
    lines = day("08:06 L ok", "14:20 L 2 power", "14:22 A mine 60", until="15:40")

    assert told(lines, "C", ["alert"]) == ["15:22"]
    assert told(lines, "G", ["alert"]) == ["15:27"]


def test_c12_a_fault_reported_in_the_last_half_hour_is_told_to_the_guardian_first() -> None:
    lines = day("08:06 L ok", "14:30 L 2 cable", faults={"CABLE": {"try for": "10 min"}})

    assert told(lines, "G", ["alert"]) == ["14:30"]
    assert told(lines, "A", ["alert"]) == ["14:40"]


def test_c12_a_minute_earlier_it_goes_the_ordinary_way() -> None:
    lines = day("08:06 L ok", "14:29 L 2 cable", until="14:40")

    assert told(lines, "A", ["alert"]) == ["14:29"]
    assert told(lines, "G") == []


def test_c12_a_fault_reported_after_school_waits_for_the_next_school_morning() -> None:
    lines = day("08:06 L ok", "15:01 L 2 cable", until="16:00")

    assert states(lines, "2") == ["15:01 until next school day -1"]
    assert told(lines, "A", ["alert"]) == []
