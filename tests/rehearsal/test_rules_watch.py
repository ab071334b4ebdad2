"""C5: what is only to be watched alarms nobody and waits for the weekly summary."""

from datetime import date

from days import messages, of_kind, play, results

FRIDAY = date(2026, 10, 9)


def test_c5_one_or_two_missed_sounds_are_recorded_and_start_no_chase() -> None:
    lines = play("08:06 L 1 missed s, rest ok")

    assert results(lines)["1"] == "fault"
    assert not [c for c in of_kind(lines, "chase") if c["why"] == "fault"]
    assert messages(lines, "08:07") == []


def test_c5_a_watched_fault_is_told_once_as_the_week_ends() -> None:
    lines = play("08:06 L 1 missed s, rest ok", day=FRIDAY)

    assert messages(lines, "08:07") == ["15:00 A news 1"]
    (summary,) = [m for m in of_kind(lines, "message") if m["purpose"] == "news"]
    assert summary["text"].startswith("1 small thing to look at this week\n")
    assert "Ash" in summary["text"]
    assert "Friday" in summary["text"]


def test_c5_a_quiet_week_has_no_summary() -> None:
    lines = play("08:06 L all ok", day=FRIDAY)

    assert messages(lines, "08:07") == []
