"""Things that come in an odd order, on each database: what was promised holds all the same."""

from datetime import timedelta

import pytest
from sqlmodel import select

from service.core.notices import NoticeError
from service.core.reading import Fault, NotDone, Outcome, Result, Then
from service.engine import commands, pages, postman, running
from service.engine.clock import SteppedClock
from service.engine.commands import Received
from service.engine.desk import Desk
from service.engine.postman import Outcome as Came
from service.engine.postman import Report
from service.engine.stumbling import TROUBLE
from service.store import marks
from service.store.tables import ChaseRow, InboxRow
from tests.engine.engine_district import district
from tests.engine.engine_morning import Receivers, at, messages, play_to, results, says

CHECKER = "school000-room0"
ROUND = f"rd-school000-2026-10-05-0805-{CHECKER}"


@pytest.fixture
def planned(desk: Desk) -> Desk:
    commands.configure(desk, district(), "test")
    return desk


def results_of(desk: Desk, school: str = "school000") -> list[str | None]:
    found = sorted(results(desk.store).items())
    return [result for check, result in found if school in check and "2026-10-05" in check]


def hear(desk: Desk, person: str, text: str, id: str) -> None:
    """Somebody answers, and it is read at once."""
    says(desk, person, text, id)
    running.run_due(desk, desk.clock.now())


def test_a_coordinators_text_without_a_school_is_about_their_own(desk: Desk) -> None:
    documents = district(schools=2)
    theirs = [{"coordinator": ["school001"]}]
    documents["people"]["X"] = {"name": "Somebody", "roles": theirs, "channels": [{"chat": "x"}]}
    commands.configure(desk, documents, "test")
    hear(desk, "X", "closed", "m1")

    assert results_of(desk, "school000") == [None] * 3
    assert results_of(desk, "school001") == ["no check"] * 3


def test_who_has_left_gives_no_notice(desk: Desk) -> None:
    documents = district()
    documents["people"]["C"]["left on"] = "2026-10-01"
    commands.configure(desk, documents, "test")
    hear(desk, "C", "closed", "m1")

    assert results_of(desk) == [None] * 3


def test_everyone_told_hears_the_end_of_an_emergency_though_a_second_alert_never_left(planned: Desk) -> None:
    receivers = Receivers()
    play_to(planned, "08:06", receivers)
    hear(planned, CHECKER, "1 swallowed battery", "m1")
    play_to(planned, "08:10", receivers)
    assert isinstance(planned.clock, SteppedClock)
    planned.clock.move_to(at("08:11"))
    running.run_due(planned, at("08:11"))
    for errand in postman.claim(planned, at("08:11")):
        busy = Report(Came.REFUSED, "busy", after=timedelta(minutes=4))
        postman.record(planned, errand, busy, at("08:11"))
    hear(planned, CHECKER, "found", "m2")
    hear(planned, CHECKER, "yes", "m3")
    play_to(planned, "08:20", receivers)

    to_her = sorted((m.purpose, m.state) for m in messages(planned.store) if m.person == "A")
    assert to_her == [("alert", "accepted"), ("alert", "dropped"), ("news", "accepted")]


def test_mine_to_an_emergency_of_yesterday_is_answered_with_what_ends_it(planned: Desk) -> None:
    receivers = Receivers()
    play_to(planned, "08:06", receivers)
    hear(planned, CHECKER, "1 swallowed battery", "m1")
    play_to(planned, "08:12", receivers)
    assert isinstance(planned.clock, SteppedClock)
    planned.clock.move_to(at("07:59", "2026-10-06"))
    play_to(planned, "08:00", receivers, "2026-10-06")
    alert = receivers.last["A"].id
    commands.receive(planned, Received("chat", "a1", "A", "mine", "A", in_reply_to=alert, proven=True))
    play_to(planned, "08:01", receivers, "2026-10-06")

    assert "The emergency goes on at any hour" in receivers.last["A"].text
    assert "In hand with you" not in receivers.last["A"].text


def test_a_child_who_comes_back_after_the_last_bell_is_asked_about_no_more(planned: Desk) -> None:
    receivers = Receivers()
    play_to(planned, "08:06", receivers)
    hear(planned, CHECKER, "1 away, rest ok", "m1")
    play_to(planned, "10:00", receivers)
    assert not commands.student_back(planned, CHECKER, f"{CHECKER}-child0", "p1")
    play_to(planned, "11:00", receivers)

    assert results_of(planned) == ["away", "working", "working"]


def test_a_fault_reported_on_a_day_without_checks_leaves_no_alias_in_the_journal(planned: Desk) -> None:
    assert isinstance(planned.clock, SteppedClock)
    planned.clock.move_to(at("10:00", "2026-10-10"))
    fault = Outcome(Result.FAULT, (Fault("CABLE"),))
    commands.report(planned, CHECKER, f"{CHECKER}-child0", fault, "p1", makes_check=True)

    with planned.store.reading() as tx:
        entries = [row for stream in planned.journal.streams(tx) for row in planned.journal.read(tx, stream)]
    assert entries
    assert not [entry for entry in entries if "Tree" in str(entry)]


def test_a_silence_is_settled_by_any_result_of_the_staff(planned: Desk) -> None:
    receivers = Receivers()
    play_to(planned, "08:21", receivers)
    hear(planned, "C", "1 ok", "m1")

    assert results_of(planned) == ["working", None, None]


def test_good_news_of_a_silent_child_from_outside_the_district_is_said_and_not_recorded(desk: Desk) -> None:
    documents = district()
    documents["people"]["G"] = {
        **documents["people"]["A"],
        "roles": ["guardian"],
        "outside": True,
        "consent": "2026-09-01",
    }
    for student in documents["students"].values():
        student["guardians"] = ["G"]
    commands.configure(desk, documents, "test")
    play_to(desk, "08:06", Receivers())
    hear(desk, "G", "1 working", "m1")

    assert results_of(desk) == [None] * 3


def test_good_news_counts_from_whoever_does_the_check_today(desk: Desk) -> None:
    documents = district()
    documents["people"][CHECKER]["deputies"] = ["C"]
    commands.configure(desk, documents, "test")
    given = commands.give_notice(desk, f"away {CHECKER}", "A")
    assert not isinstance(given, NoticeError)
    play_to(desk, "08:06", Receivers())
    hear(desk, "C", "ok", "m1")

    assert results_of(desk) == ["working"] * 3


def test_good_news_counts_from_a_deputy_who_was_told_in_the_checkers_place(desk: Desk) -> None:
    documents = district()
    documents["people"]["school000-second"]["deputies"] = ["C"]
    commands.configure(desk, documents, "test")
    receivers = Receivers()
    play_to(desk, "08:06", receivers)
    given = commands.give_notice(desk, "away school000-second", "A")
    assert not isinstance(given, NoticeError)
    play_to(desk, "08:16", receivers)
    hear(desk, "C", "1 ok", "m1")

    assert results_of(desk) == ["working", None, None]


def test_a_school_taken_out_in_the_middle_of_its_morning_leaves_nothing_open(desk: Desk) -> None:
    commands.configure(desk, district(schools=2), "test")
    play_to(desk, "08:06", Receivers())
    hear(desk, "school001-room0", "1 cable", "m1")
    commands.configure(desk, district(), "test")
    hear(desk, "A", "thanks", "m2")
    play_to(desk, "09:55", Receivers())

    assert results_of(desk, "school001") == ["fault", "no check", "no check"]
    assert results_of(desk, "school000") == ["unanswered"] * 3
    with desk.store.reading() as tx:
        assert not [c.id for c in tx.exec(select(ChaseRow)) if c.ended_at is None]
        assert not marks.with_prefix(tx, TROUBLE)
        assert {row.state for row in tx.exec(select(InboxRow))} == {"read"}


def test_an_answer_is_taken_though_somebody_who_was_told_is_one_of_ours_no_more(planned: Desk) -> None:
    play_to(planned, "08:06", Receivers())
    hear(planned, CHECKER, "1 cable, rest ok", "m1")
    play_to(planned, "08:20", Receivers())
    documents = district()
    del documents["people"]["A"]
    for chain in documents["chains"].values():
        chain["steps"] = [step for step in chain["steps"] if step["tell"] != "A"]
    commands.configure(planned, documents, "test")
    hear(planned, CHECKER, "1 fixed", "m2")

    assert results_of(planned) == ["fixed", "working", "working"]


def test_the_fault_of_a_student_taken_out_in_the_middle_of_a_morning_alarms_nobody_more(planned: Desk) -> None:
    receivers = Receivers()
    play_to(planned, "08:06", receivers)
    hear(planned, CHECKER, "1 cable, rest ok", "m1")
    play_to(planned, "08:20", receivers)
    assert receivers.last["A"].text.startswith("1 fault")
    documents = district()
    del documents["students"][f"{CHECKER}-child0"]
    commands.configure(planned, documents, "test")
    play_to(planned, "09:45", receivers)

    with planned.store.reading() as tx:
        assert not [c.id for c in tx.exec(select(ChaseRow)) if c.ended_at is None]
    assert receivers.last["A"].text.startswith("No check today, nothing to do")
    assert "C" not in receivers.last


def test_an_emergency_stays_though_its_student_is_taken_out(planned: Desk) -> None:
    play_to(planned, "08:06", Receivers())
    hear(planned, CHECKER, "1 swallowed battery", "m1")
    documents = district()
    del documents["students"][f"{CHECKER}-child0"]
    commands.configure(planned, documents, "test")

    with planned.store.reading() as tx:
        assert [c.phase for c in tx.exec(select(ChaseRow)) if c.why == "fault"] == ["alarm"]


def test_who_reports_an_emergency_as_the_second_hears_its_end(planned: Desk) -> None:
    receivers = Receivers()
    play_to(planned, "08:06", receivers)
    hear(planned, CHECKER, "1 swallowed battery", "m1")
    hear(planned, "school000-second", "1 swallowed the battery", "m2")
    hear(planned, CHECKER, "found", "m3")
    hear(planned, CHECKER, "yes", "m4")
    play_to(planned, "08:10", receivers)

    assert receivers.last["school000-second"].text.startswith("Emergency over")


def test_could_not_check_leaves_a_fault_that_stands(planned: Desk) -> None:
    play_to(planned, "08:06", Receivers())
    hear(planned, CHECKER, "1 cable, rest ok", "m1")
    for press, then in (("p1", Then.NOT_TODAY), ("p2", Then.NEXT_BELL)):
        not_done = Outcome(Result.NOT_DONE, reason=NotDone.NO_TIME, then=then)
        commands.press(planned, CHECKER, ROUND, {1: not_done}, press)

    assert results_of(planned) == ["fault", "working", "working"]
    with planned.store.reading() as tx:
        assert [c.why for c in tx.exec(select(ChaseRow)) if c.ended_at is None] == ["fault"]


def test_could_not_check_for_all_leaves_what_was_answered(planned: Desk) -> None:
    play_to(planned, "08:06", Receivers())
    hear(planned, CHECKER, "1 ok", "m1")
    not_done = Outcome(Result.NOT_DONE, reason=NotDone.NO_TIME, then=Then.NOT_TODAY)
    commands.press(planned, CHECKER, ROUND, dict.fromkeys((1, 2, 3), not_done), "p1", pointed=frozenset())

    assert results_of(planned) == ["working", "not done", "not done"]


def test_the_standing_page_goes_from_room_to_room_by_the_numbers_of_the_round(desk: Desk) -> None:
    documents = district(children=0)
    routine = district()["students"][f"{CHECKER}-child0"]["routines"]
    for alias, room in (("Ash", "12"), ("Birch", "9"), ("Cedar", "9")):
        documents["students"][alias.lower()] = {
            "alias": alias, "school": "school000", "room": room, "devices": ["left hearing-aid"],
            "routines": routine,
        }  # fmt: skip
    commands.configure(desk, documents, "test")

    with desk.glance() as m:
        page = pages.standing_page(m, CHECKER)
    assert [(c.room, c.alias) for c in page.cards] == [
        ("Room 9", "Birch"), ("Room 9", "Cedar"), ("Room 12", "Ash")
    ]  # fmt: skip


def test_what_ends_by_a_change_of_the_folder_has_the_plan_as_its_cause(planned: Desk) -> None:
    documents = district()
    del documents["students"][f"{CHECKER}-child0"]
    play_to(planned, "08:06", Receivers())
    commands.configure(planned, documents, "test")

    with planned.store.reading() as tx:
        entries = planned.journal.read(tx, "school000/2026-10-05")
    ended = [r.entry for r in entries if r.entry.body.get("result") == "no check"]
    assert [list(entry.cause) for entry in ended] == [["plan-school000-2026-10-05"]]
