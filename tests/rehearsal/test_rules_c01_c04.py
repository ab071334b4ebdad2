"""Chase rules C1 to C4, clause by clause, on whole days."""

from days import messages, of_kind, results, told
from rule_days import day, held, states, text

TEN = {"try for": "10 min"}


def test_c1_recording_a_fault_ends_the_silence_of_that_check_and_the_others_of_the_round_go_on() -> None:
    lines = day("08:06 L 2 cable")

    assert states(lines, "2", "silence") == ["08:05 climbing 0", "08:06 answered 0"]
    assert states(lines, "2")[0] == "08:06 climbing 0"
    assert "08:15 R alert 1 3" in messages(lines)


def test_c1_each_check_has_a_chase_of_its_own_and_only_messages_are_gathered() -> None:
    lines = day(until="08:16")

    first = of_kind(lines, "message")[0]
    assert first["students"] == ["s1", "s2", "s3"]
    assert len(first["chases"]) == 3


def test_c2_a_silence_chase_begins_with_the_checker_then_the_second_then_the_chain() -> None:
    assert [m[6:13] for m in messages(day(until="08:31"))] == [
        "L promp", "L remin", "R alert", "C alert", "A alert",
    ]  # fmt: skip


def test_c2_a_limit_counts_from_when_a_contact_was_due_to_be_told_not_from_when_they_were() -> None:
    lines = day("08:06 L 2 cable", "08:07 L 3 cable", until="08:40")

    assert told(lines, "A", ["alert"])[:2] == ["08:06", "08:08"]
    assert "08:27 C alert 3" in messages(lines) or "08:28 C alert 3" in messages(lines)
    assert any(s == "08:27 climbing 1" for s in states(lines, "3"))


def test_c2_two_reminders_divide_the_checkers_limit_into_three() -> None:
    steps = [{"tell": "checker", "limit": "12 min"}, {"tell": "C", "limit": "end of day"}]
    lines = day(until="08:18", chains={"silence": {"reminders": 2, "steps": steps}})

    assert told(lines, "L") == ["08:05", "08:09", "08:13"]
    assert told(lines, "C") == ["08:17"]


def test_c2_a_fault_with_a_first_remedy_waits_for_its_outcome() -> None:
    lines = day("08:06 L 2 cable", until="08:20", faults={"CABLE": TEN})

    assert states(lines, "2") == ["08:06 trying first -1", "08:16 climbing 0"]
    assert "Did that help?" in text(lines, "L", "08:06", "answer")


def test_c2_the_wait_for_an_urgent_fault_is_five_minutes() -> None:
    lines = day("08:06 L 2 power", until="08:20", faults={"POWER": {"try for": "5 min"}})

    assert told(lines, "A", ["alert"]) == ["08:11"]


def test_c2_it_did_not_help_ends_the_wait() -> None:
    lines = day("08:06 L 2 cable", "08:07 L no", until="08:20", faults={"CABLE": TEN})

    assert told(lines, "A", ["alert"]) == ["08:07"]


def test_c2_a_quick_cell_change_alarms_nobody() -> None:
    lines = day("08:06 L 2 bat", "08:07:30 L 2 fixed", until="08:09", faults={"BAT": TEN})

    assert told(lines, "A") == []
    assert results(lines)["2"] == "fixed"


def test_c2_sore_unwell_and_knock_are_told_at_once_whatever_the_wait() -> None:
    for word in ("sore", "unwell", "knock"):
        lines = day(f"08:06 L 2 {word}", until="08:12", settings={"try for": "10 min"})
        assert states(lines, "2")[0] == "08:06 climbing 0", word


def test_c3_a_refusal_by_every_channel_tells_the_next_step_at_once() -> None:
    lines = day("08:00 channel R refuse", until="08:30")

    assert told(lines, "C") == ["08:15"]
    assert held(lines, "no_channel") == ["08:15 R alert"]


def test_c3_nothing_accepted_within_two_minutes_tells_the_next_step() -> None:
    lines = day("08:00 channel R time-out", until="08:30")

    assert told(lines, "C") == ["08:17"]
    assert told(lines, "A") == ["08:27"]


def test_c3_a_slow_channel_that_accepts_in_time_is_no_reason_to_go_on() -> None:
    lines = day("08:00 channel R slow 9 s", until="08:21")

    assert told(lines, "C") == ["08:20"]


def test_c3_a_bounce_that_comes_later_passes_the_turn_on_while_that_step_is_the_last() -> None:
    lines = day("08:14 channel R bounce 3 min", until="08:40")

    assert told(lines, "C") == ["08:18"]
    assert held(lines, "no_channel") == ["08:18 R alert"]


def test_c3_a_bounce_after_the_turn_has_passed_changes_nothing() -> None:
    lines = day("08:14 channel R bounce 7 min", until="08:40")

    assert told(lines, "C") == ["08:20"]
    assert told(lines, "A") == ["08:30"]


def test_c3_the_coordinator_reads_who_could_not_be_reached_in_the_journal_of_the_day() -> None:
    lines = day("08:06 L 2 cable", "08:00 channel A gone", until="08:20")

    assert [w["to"] for w in of_kind(lines, "withheld") if w["reason"] == "no_channel"] == ["A"]
    assert told(lines, "C", ["alert"]) == ["08:06", "08:20"]


def test_c4_a_contact_who_is_away_is_passed_over_at_no_cost_and_said_so() -> None:
    lines = day("07:30 notice C away R", until="08:26")

    assert held(lines, "away") == ["08:15 R alert"]
    assert told(lines, "C") == ["08:15"]


def test_c4_a_contact_who_has_left_is_passed_over() -> None:
    lines = day(until="08:26", people={"R": {"left on": "2026-09-30"}})

    assert told(lines, "R") == []
    assert told(lines, "C") == ["08:15"]


def test_c4_a_contact_outside_their_hours_is_passed_over_unless_the_step_says_any_hour() -> None:
    late = {"hours": {"mon": "12:00 - 15:00"}}
    steps = [{"tell": "A", "limit": "20 min"}, {"tell": "C", "limit": "end of day"}]
    any_hour = [{"tell": "A", "limit": "20 min", "any hour": "yes"}, {"tell": "C", "limit": "end of day"}]

    passed = day("08:06 L 2 cable", until="08:10", people={"A": late}, chains={"same-day": {"steps": steps}})
    told_all_the_same = day(
        "08:06 L 2 cable", until="08:10", people={"A": late}, chains={"same-day": {"steps": any_hour}}
    )

    assert held(passed, "off_hours") == ["08:06 A alert"]
    assert told(passed, "C", ["alert"]) == ["08:06"]
    assert told(told_all_the_same, "A", ["alert"]) == ["08:06"]


def test_c4_a_guardian_without_consent_has_no_channel() -> None:
    lines = day("08:06 L 2 power", until="08:20", people={"G": {"consent": None}})

    assert held(lines, "no_channel") == ["08:16 G alert"]
    assert told(lines, "G") == []


def test_c4_who_was_told_already_of_this_chase_is_passed_over() -> None:
    steps = [
        {"tell": "A", "limit": "5 min"},
        {"tell": "audiologist", "limit": "5 min"},
        {"tell": "C", "limit": "end of day"},
    ]
    lines = day("08:06 L 2 cable", until="08:14", chains={"same-day": {"steps": steps}})

    assert held(lines, "already_told") == ["08:11 A alert"]
    assert told(lines, "C", ["alert"]) == ["08:11"]


def test_c4_a_deputy_is_told_in_the_place_of_who_is_away() -> None:
    lines = day("07:30 notice C away A", "08:06 L 2 cable", until="08:10", people={"A": {"deputies": ["O"]}})

    assert told(lines, "O", ["alert"]) == ["08:06"]
