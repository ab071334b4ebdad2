"""The worked chases of the design, minute by minute, through the rehearsal."""

from days import LATE_START, messages, of_kind, play, results, told


def test_1_nobody_answers() -> None:
    lines = play()

    assert messages(lines) == [
        "08:05 L prompt 1 2 3",
        "08:10 L reminder 1 2 3",
        "08:15 R alert 1 2 3",
        "08:20 C alert 1 2 3",
        "08:30 A alert 1 2 3",
        "15:00 A chain_end 1 2 3",
        "15:00 C chain_end 1 2 3",
    ]
    assert results(lines) == {"1": "unanswered", "2": "unanswered", "3": "unanswered"}


def test_2_part_then_silence() -> None:
    lines = play("08:07 L 1 ok")

    assert messages(lines, last="08:31")[1:] == [
        "08:07 L answer 1 2 3",
        "08:10 L reminder 2 3",
        "08:15 R alert 2 3",
        "08:20 C alert 2 3",
        "08:30 A alert 2 3",
    ]
    assert results(lines)["1"] == "working"


def test_3_a_fault_inside_a_silent_round() -> None:
    lines = play("08:16 R 2 cable, rest ok", "08:40 A mine 30")

    assert messages(lines, "08:15", "09:59") == [
        "08:15 R alert 1 2 3",
        "08:16 A alert 2",
        "08:16 L news 1 2 3",
        "08:16 R answer 1 2 3",
        "08:36 C alert 2",
        "08:40 A answer 2",
        "09:10 A question 2",
        "09:10 G alert 2",
    ]
    assert told(lines, "C") == ["08:36"]


def test_4_fixed_on_the_spot() -> None:
    lines = play("08:06 L 2 cable", "08:08 L 2 fixed")

    assert messages(lines, "08:06", "08:14") == [
        "08:06 A alert 2",
        "08:06 L answer 1 2 3",
        "08:08 A news 2",
        "08:08 L answer 1 2 3",
        "08:10 L reminder 1 3",
    ]
    assert results(lines)["2"] == "fixed"


def test_4_news_a_minute_after_the_alert_waits_for_the_window() -> None:
    lines = play("08:06 L 2 cable", "08:07 L 2 fixed")

    assert told(lines, "A", ["news"]) == ["08:08"]


def test_5_two_chases_one_person() -> None:
    lines = play("08:06 L 2 power", "08:06:30 L 3 cable")

    assert told(lines, "A", ["alert"])[:2] == ["08:06", "08:08"]
    assert "08:11 C alert 2" in messages(lines)
    assert "08:16 G alert 2" in messages(lines)
    assert "08:26:30 C alert 3" in messages(lines)


def test_6_urgent_does_not_wait() -> None:
    lines = play("08:06 L 3 cable", "08:06:30 L 2 power")

    assert told(lines, "A", ["alert"])[:2] == ["08:06", "08:06:30"]


def test_7_unreachable() -> None:
    lines = play("08:00 channel R time-out", "08:18 channel R accept")

    assert "08:17 C alert 1 2 3" in messages(lines)
    assert "08:27 A alert 1 2 3" in messages(lines)
    assert len(told(lines, "R", ["alert"])) <= 1
    first = next(m for m in of_kind(lines, "message") if m["to"] == "R")
    assert (first["at"][11:16], first["outcome"]) == ("08:15", "timed_out")


def test_8_snow_day_called_at_22_past() -> None:
    lines = play("08:22 notice C closed")

    assert messages(lines, "08:21") == ["08:22 L no_check 1 2 3", "08:22 R no_check 1 2 3"]
    assert results(lines) == {"1": "no check", "2": "no check", "3": "no check"}


def test_9_undo_of_an_emergency() -> None:
    lines = play("08:06 L 2 swallowed", "08:07 L undo", "08:12 A mine", "08:17 L found", "08:17:30 L yes")
    got = [m for m in messages(lines, "08:06", "09:18") if m.split()[1] in "ACGO" and m.endswith(" 2")]

    assert got == [
        "08:06 A alert 2",
        "08:06 C alert 2",
        "08:06 G alert 2",
        "08:06 O alert 2",
        "08:11 A alert 2",
        "08:11 C alert 2",
        "08:11 G alert 2",
        "08:11 O alert 2",
        "08:12 A answer 2",
        "08:16 C alert 2",
        "08:16 G alert 2",
        "08:16 O alert 2",
        "08:17:30 A news 2",
        "08:17:30 C news 2",
        "08:17:30 G news 2",
        "08:17:30 O news 2",
    ]
    assert told(lines, "L", ["caution"]) == ["08:06"]
    assert told(lines, "L", ["question"]) == ["08:17"]
    assert told(lines, "L", ["prompt"]) == ["08:05", "09:17"]


def test_10_down_from_12_to_52_past() -> None:
    lines = play("08:12 service down", "08:52 service up")

    assert messages(lines, "08:11", "14:59") == [
        "08:53:30 A alert 1 2 3",
        "08:53:30 C alert 1 2 3",
        "08:53:30 R alert 1 2 3",
    ]


def test_11_a_bell_that_is_not_there() -> None:
    until = {"until": "end of Period 2", "else": "12 min"}
    steps = [
        {"tell": "A", "limit": until},
        {"tell": "C", "limit": "5 min"},
    ]
    lines = play("08:06 L 2 power", day=LATE_START, chains__urgent={"steps": steps})

    assert "08:06 A alert 2" in messages(lines)
    assert "08:18 C alert 2" in messages(lines)


def test_12_two_voices() -> None:
    lines = play("08:06 L all ok", "08:09 R 2 coil", "08:12 L ok")

    assert messages(lines, "08:07", "08:20") == [
        "08:09 A alert 2",
        "08:09 L news 2",
        "08:09 R answer 1 2 3",
        "08:12 L question 1 2 3",
    ]
    assert results(lines)["2"] == "fault"


TRY_TEN = {"faults__CABLE": {"try for": "10 min"}}


def test_13_remedy_first_and_it_helps() -> None:
    lines = play("08:06 L 2 cable", "08:09 L 2 fixed", **TRY_TEN)

    assert messages(lines, "08:06", "08:09") == ["08:06 L answer 1 2 3", "08:09 L answer 1 2 3"]
    assert told(lines, "A", ["alert", "news"]) == ["08:30"]
    assert results(lines)["2"] == "fixed"


def test_13_remedy_first_and_it_does_not_help() -> None:
    lines = play("08:06 L 2 cable", "08:09 L 2 no", **TRY_TEN)

    assert messages(lines, "08:07", "08:09") == ["08:09 A alert 2", "08:09 L answer 1 2 3"]


def test_13_remedy_first_and_no_word() -> None:
    lines = play("08:06 L 2 cable", **TRY_TEN)

    assert "08:16 A alert 2" in messages(lines)
    assert "08:36 C alert 2" in messages(lines)


def test_14_said_to_be_working() -> None:
    lines = play("08:16 R 2 cable, rest ok", "08:20 G works at home", "08:25 R 2 working")

    assert messages(lines, "08:17", "15:30") == [
        "08:20 G answer 2",
        "08:25 A news 2",
        "08:25 G news 2",
        "08:25 L news 2",
        "08:25 R answer 1 2 3",
    ]


def test_15_could_not_check() -> None:
    lines = play(
        '08:07 page {"person": "L", "student": "s2", "result": "not done",'
        ' "reason": "not arrived yet", "again": "Period 2"}'
    )

    assert "08:10 L reminder 1 3" in messages(lines)
    assert "08:15 R alert 1 3" in messages(lines)
    assert "09:05 L prompt 2" in messages(lines)
    assert "09:10 L reminder 2" in messages(lines)
    assert "09:15 R alert 2" in messages(lines)
