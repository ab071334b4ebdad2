"""A fault from its report until it is seen working on the child, on each database, as those concerned live it."""

from sqlmodel import col, select

from service.engine.desk import Desk
from service.store.tables import FaultRow
from tests.engine.conftest import Opener
from tests.engine.engine_morning import broken_streams
from tests.engine.engine_talk import CHECKER, Talk, talk

__all__ = ["talk"]

TUESDAY = "2026-10-06"
AUDIOLOGIST = "A"


def faults(desk: Desk) -> list[FaultRow]:
    with desk.store.reading() as tx:
        return list(tx.exec(select(FaultRow).order_by(col(FaultRow.id))))


def stages(talk: Talk) -> list[str]:
    """Code and stage of every fault, in the order of students and codes."""
    return [f"{row.code} {row.stage}" for row in faults(talk.desk)]


def test_a_loaner_keeps_the_fault_open_until_the_childs_own_device_is_seen_working(talk: Talk) -> None:
    talk.write("1 coil broken, rest ok")
    talk.at("08:20")
    talk.write("loaner", AUDIOLOGIST)
    assert stages(talk) == ["COIL reported"]
    assert faults(talk.desk)[0].lent == ""

    talk.at("08:06", TUESDAY)
    prompt = talk.receivers.last[CHECKER].text
    assert "Still open: 1 coil (left) since Monday 08:06, a loaner is worn, so check that." in prompt
    talk.write("ok")
    assert talk.results_on(TUESDAY) == ["working"] * 3
    assert stages(talk) == ["COIL reported"]
    assert broken_streams(talk.desk) == []


def test_repeated_reports_join_and_words_that_point_at_it_end_it(talk: Talk) -> None:
    talk.write("1 cable, rest ok")
    talk.write("1 cable again, no")
    talk.at("08:06", TUESDAY)
    assert "1 cable (left) since Monday 08:06, does it work again?" in talk.receivers.last[CHECKER].text
    talk.write("1 cable")
    (fault,) = faults(talk.desk)
    assert sum(step["what"] == "reported" for step in fault.body["steps"]) >= 2

    talk.write("1 fixed")
    assert stages(talk) == ["CABLE working"]
    assert broken_streams(talk.desk) == []


def test_a_fault_that_comes_back_within_twenty_school_days_is_flagged(talk: Talk) -> None:
    talk.write("1 cable, rest ok")
    talk.write("1 working")
    talk.at("08:06", TUESDAY)
    talk.write("1 cable")
    first, second = faults(talk.desk)
    assert (first.stage, second.stage, second.body["after"]) == ("working", "reported", first.id)


def test_an_undo_leaves_no_fault_and_one_of_the_good_news_opens_it_again(talk: Talk) -> None:
    talk.write("1 coil broken")
    talk.write("1 working")
    assert stages(talk) == ["COIL working"]
    talk.write("undo")
    assert stages(talk) == ["COIL reported"]
    talk.write("undo")
    assert stages(talk) == ["COIL taken back"]
    assert broken_streams(talk.desk) == []


def test_an_ok_for_all_leaves_a_fault_of_before_open_and_says_so(talk: Talk) -> None:
    talk.write("1 coil broken, rest ok")
    talk.at("08:20")
    talk.write("1 away", AUDIOLOGIST)
    talk.write("1 away")
    talk.at("08:06", TUESDAY)
    assert "A fault reported before stays open." in talk.write("ok")
    assert stages(talk) == ["COIL reported"]


def test_a_contact_far_from_the_child_can_only_say_that_it_works(talk: Talk) -> None:
    talk.write("1 coil broken, rest ok")
    talk.at("08:20")
    talk.at("08:30")
    talk.write("mine 30", AUDIOLOGIST)
    assert (faults(talk.desk)[0].stage, faults(talk.desk)[0].holder) == ("in hand", AUDIOLOGIST)
    talk.at("09:20")
    talk.write("working", "C")
    assert stages(talk) == ["COIL said to be working"]


def test_an_emergency_ends_with_its_end_and_is_followed_up_the_next_morning(talk: Talk) -> None:
    talk.write("1 swallowed a battery")
    assert stages(talk) == ["SWALLOWED reported"]
    talk.write("found")
    talk.write("yes")
    assert stages(talk) == ["SWALLOWED over"]
    talk.at("08:06", TUESDAY)
    assert (
        "After the last school day: 1 swallowed, how is the child this morning?"
        in talk.receivers.last[CHECKER].text
    )
    assert broken_streams(talk.desk) == []


def test_two_instances_know_of_one_open_fault(opened: Opener) -> None:
    """The other instance has read nothing of what this one wrote, and joins it all the same."""
    one, two = Talk(opened("one")), opened("two")
    one.at("08:06")
    one.write("1 cable")
    one.desk = two
    one.write("1 cable, no")
    assert len(faults(two)) == 1
    assert broken_streams(two) == []
