"""Chase rules C13 to C16, clause by clause, on whole days."""

from days import messages, of_kind, results, told
from rule_days import day, states, text

SHORT_SILENCE = {
    "silence": {"steps": [{"tell": "checker", "limit": "10 min"}, {"tell": "second", "limit": "5 min"}]}
}


def test_c13_every_step_that_fell_due_is_told_now_each_person_once_saying_since_when() -> None:
    lines = day("08:12 service down", "08:52 service up", until="09:10")

    late = [m for m in of_kind(lines, "message") if m["at"][11:16] == "08:53"]
    assert sorted(m["to"] for m in late) == ["A", "C", "R"]
    assert all("since 08:05" in m["text"] for m in late)


def test_c13_limits_run_on_from_now() -> None:
    lines = day("08:14 service down", "08:16 service up", until="08:40")

    assert told(lines, "R") == ["08:17:30"]
    assert told(lines, "C") == ["08:22:30"]


def test_c13_a_short_outage_between_steps_costs_nothing() -> None:
    lines = day("08:11 service down", "08:12 service up", until="08:40")

    assert (told(lines, "R"), told(lines, "C")) == (["08:15"], ["08:20"])


def test_c13_a_late_prompt_gives_the_checker_their_whole_time() -> None:
    lines = day("08:00 service down", "08:30 service up", until="08:46")

    assert told(lines, "L") == ["08:30", "08:35"]
    assert told(lines, "R") == ["08:40"]


def test_c13_a_prompt_whose_chain_would_be_over_is_not_sent_but_told_in_one_summary() -> None:
    lines = day("08:04 service down", "08:50 service up", chains=SHORT_SILENCE)

    assert set(results(lines).values()) == {"not asked"}
    assert messages(lines) == ["15:00 A chain_end 1 2 3", "15:00 C chain_end 1 2 3"]


def test_c13_a_prompt_whose_day_is_over_is_not_sent() -> None:
    lines = day("08:04 service down", "15:30 service up", until="16:00")

    assert set(results(lines).values()) == {"not asked"}
    assert told(lines, "L") == []


def test_c13_a_fault_that_climbed_unseen_is_told_to_everybody_due_at_once() -> None:
    lines = day("08:06 L 1 3 ok, 2 power", "08:07 service down", "08:30 service up", until="08:40")

    assert told(lines, "C", ["alert"]) == ["08:30"]
    assert told(lines, "G", ["alert"]) == ["08:30"]


def test_c13_what_was_promised_before_the_outage_is_asked_about_after_it() -> None:
    lines = day(
        "08:06 L 1 3 ok, 2 cable", "08:07 A mine 20", "08:10 service down", "08:40 service up", until="09:00"
    )

    assert messages(lines, "08:40", "08:40") == ["08:40 A question 2", "08:40 C alert 2"]


def test_c14_when_nobody_is_left_the_coordinator_hears_it() -> None:
    lines = day("08:06 L 1 2 ok, 3 power", until="08:30")

    assert states(lines, "3")[-1] == "08:16 nobody left to tell 3"
    assert told(lines, "C", ["chain_end"]) == ["08:16"]
    assert "Nobody else to tell" in text(lines, "C", "08:16")


def test_c14_the_last_contact_reached_is_told_again_every_half_hour_three_times_at_most() -> None:
    lines = day("08:06 L 1 2 ok, 3 power", until="12:00")

    assert told(lines, "C", ["alert"]) == ["08:11", "08:46", "09:16", "09:46"]


def test_c14_the_last_contact_is_the_last_one_who_was_reached() -> None:
    lines = day("08:00 channel C refuse", "08:06 L 1 2 ok, 3 power", until="09:00")

    assert told(lines, "A", ["alert"])[:2] == ["08:06", "08:41"]


def test_c14_an_answer_ends_the_telling_again() -> None:
    lines = day("08:06 L 1 2 ok, 3 power", "08:50 C mine 30", "09:00 L 3 fixed", until="12:00")

    assert told(lines, "C", ["alert"]) == ["08:11", "08:46"]


def test_c15_an_answer_after_unanswered_is_kept_beside_it() -> None:
    lines = day("15:01 L ok", until="15:10")

    assert lines[-1]["results"] == {"unanswered": 3}
    assert "Kept beside the record as a late answer" in text(lines, "L", "15:01")
    assert "1, 2 and 3 working" in text(lines, "L", "15:01")


def test_c15_a_late_fault_starts_a_fault_chase() -> None:
    lines = day("15:01 L 2 power", until="15:20")

    assert states(lines, "2")[0] == "15:01 climbing 0"
    assert "POWER" in text(lines, "A", "15:01", "alert")


def test_c16_a_worse_severity_starts_its_own_chain_from_the_top() -> None:
    lines = day("08:06 L 1 3 ok, 2 cable", "08:30 L 2 power", until="08:50")

    assert states(lines, "2") == [
        "08:06 climbing 0",
        "08:26 climbing 1",
        "08:30 outweighed 1",
        "08:30 climbing 0",
        "08:35 climbing 1",
        "08:40 climbing 2",
    ]
    assert told(lines, "A", ["alert"]) == ["08:06", "08:30"]


def test_c16_those_who_know_already_hear_only_what_changed() -> None:
    lines = day("08:06 L 1 3 ok, 2 cable", "08:30 L 2 power", until="08:34")

    assert messages(lines, "08:30", "08:34") == ["08:30 A alert 2", "08:30 C news 2", "08:30 L answer 1 2 3"]
    assert "Changed" in text(lines, "C", "08:30")


def test_c16_the_same_severity_joins_the_chase_that_runs() -> None:
    lines = day("08:06 L 1 3 ok, 2 cable", "08:10 L 2 coil", until="08:30")

    assert states(lines, "2")[-1] == "08:26 climbing 1"
    assert told(lines, "A") == ["08:06", "08:10"]


def test_c16_an_emergency_tells_the_reporter_what_to_do_and_everybody_at_once() -> None:
    lines = day("08:06 L 2 swallowed", until="08:10")

    assert told(lines, "L", ["caution"]) == ["08:06"]
    assert "911" in text(lines, "L", "08:06", "caution").split("\n")[0]
    for person in "ACGO":
        assert told(lines, person, ["alert"]) == ["08:06"], person


def test_c16_hours_and_away_marks_hold_nobody_back() -> None:
    asleep = {"hours": {"mon": "12:00 - 15:00"}}
    lines = day("07:30 notice C away C", "08:06 L 2 swallowed", until="08:10", people={"A": asleep})

    assert (told(lines, "A", ["alert"]), told(lines, "C", ["alert"])) == (["08:06"], ["08:06"])


def test_c16_again_every_five_minutes_to_those_who_have_not_answered() -> None:
    lines = day("08:06 L 2 swallowed", "08:08 A on my way", "08:12 O mine", until="08:17")

    assert told(lines, "A", ["alert"]) == ["08:06"]
    assert told(lines, "O", ["alert"]) == ["08:06", "08:11"]
    assert told(lines, "G", ["alert"]) == ["08:06", "08:11", "08:16"]


def test_c16_undo_mine_ok_working_notices_and_the_days_end_do_not_call_it_back() -> None:
    lines = day(
        "14:40 L 2 swallowed", "14:41 L undo", "14:42 A mine 60", "14:43 A working", "14:44 L all ok",
        "14:45 notice C closed", "14:46 notice C away s2", until="15:30",
    )  # fmt: skip

    assert states(lines, "2")[-1].endswith("alarm 0")
    assert told(lines, "G", ["alert"])[-1] == "15:30"
    assert results(lines)["2"] == "fault"


def test_c16_it_ends_when_the_reporter_says_found_and_confirms_and_everyone_hears_which() -> None:
    lines = day("08:06 L 2 swallowed", "08:09 L found", "08:10 L yes", until="08:20")

    assert states(lines, "2")[-1] == "08:10 found 0"
    assert {m["to"] for m in of_kind(lines, "message") if m["purpose"] == "news"} == {"A", "C", "G", "O"}
    assert "found" in text(lines, "G", "08:10").lower()


def test_c16_found_without_a_yes_ends_nothing() -> None:
    lines = day("08:06 L 2 swallowed", "08:09 L found", "08:10 L no", until="08:12")

    assert states(lines, "2")[-1].endswith("alarm 0")
    assert told(lines, "G", ["alert"]) == ["08:06", "08:11"]


def test_c16_somebody_who_is_neither_reporter_nor_nurse_nor_guardian_cannot_end_it() -> None:
    lines = day("08:06 L 2 swallowed", "08:09 A found", "08:10 A yes", until="08:20")

    assert states(lines, "2")[-1].endswith("alarm 0")


def test_c16_a_guardian_may_say_that_the_child_is_with_medical_help() -> None:
    lines = day("08:06 L 2 swallowed", "08:09 G with medical help", "08:10 G yes", until="08:20")

    assert states(lines, "2")[-1] == "08:10 with medical help 0"
    assert "medical help" in text(lines, "L", "08:10").lower()


def test_c16_ordinary_prompts_to_the_reporter_rest_for_an_hour() -> None:
    later = {"s3": {"routines": {"later": {"when": {"at": "08:20"}, "checker": "L", "second": "R"}}}}
    lines = day("08:06 L 2 swallowed", until="09:30", students=later)

    assert told(lines, "L", ["prompt", "reminder"]) == ["08:05", "09:06", "09:11"]


def test_c16_what_would_rest_past_the_last_bell_is_not_asked_and_ends_with_its_day() -> None:
    last = {"s3": {"routines": {"last": {"when": {"at": "14:50"}, "checker": "L", "second": "R"}}}}
    lines = day("08:06 L ok", "14:30 L 2 swallowed", until="16:30", students=last)

    assert results(lines)["3"] == "not asked"
    assert told(lines, "L", ["prompt", "reminder"]) == ["08:05"]
    assert told(lines, "C", ["chain_end"]) == ["15:00"]


def test_c16_an_emergency_counts_in_answer_to_whatever_and_without_a_student() -> None:
    lines = day("08:16 R? a magnet was swallowed", until="08:18")

    assert told(lines, "R", ["caution"]) == ["08:16"]
    assert told(lines, "O", ["alert"]) == ["08:16"]


def test_c16_an_emergency_that_names_no_child_alarms_no_guardian_and_asks_which_student() -> None:
    lines = day("08:06 L the kid swallowed a battery")

    assert told(lines, "G") == []
    assert told(lines, "L", ["caution"]) == ["08:06"]
    (question,) = [m for m in of_kind(lines, "message") if m["purpose"] == "question"]
    assert "Which student" in question["text"]
    assert "understood" not in question["text"]


def test_c16_a_no_before_it_does_not_hide_an_emergency() -> None:
    lines = day("08:06 L 2 cable", "08:07 L no, 2 swallowed a battery")

    assert told(lines, "L", ["caution"]) == ["08:07"]
    assert "08:07" in told(lines, "G", ["alert"])
