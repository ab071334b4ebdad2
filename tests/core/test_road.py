"""The road of a fault, told as an audiologist would tell it."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.core.days import SchoolDay
from service.core.devices import catalogue
from service.core.district import Device, DeviceKind, Severity, Side
from service.core.measures.lost import Lost, lost
from service.core.road import (
    CLOSED,
    Fault,
    OutOfPlace,
    Stage,
    Stand,
    Step,
    What,
    follow,
    may,
    stand,
    take_back,
)
from service.core.road.access import broken, counts
from service.core.road.asking import Ask, ask, is_followed_up, is_incident
from service.core.road.dates import has_passed, reminded_on
from service.core.road.joining import came_again, joined, school_days
from service.core.road.loaners import Loaner, Refusal, kinds_of, refusal

MONDAY = date(2026, 10, 5)
EIGHT = datetime(2026, 10, 5, 8, 5, tzinfo=UTC)
CODES = catalogue()


def is_school(day: date) -> bool:
    """Mondays to Fridays, but for a week of holidays."""
    return day.isoweekday() <= 5 and not date(2026, 10, 19) <= day <= date(2026, 10, 25)


def step(what: What, hours: float = 0, **more: object) -> Step:
    return Step(EIGHT + timedelta(hours=hours), what, **{"by": "somebody", "said_in": f"in-{hours}", **more})  # type: ignore[arg-type]


def told(*steps: Step, code: str = "CABLE", id: str = "ft-1") -> Fault:
    """A fault and what happened to it, in the order told."""
    fault = Fault(id, "st-1", "hollow-road", code, MONDAY)
    for each in steps:
        fault = follow(fault, each)
    return fault


def reported(hours: float = 0, **more: object) -> Step:
    return step(What.REPORTED, hours, **{"severity": Severity.SAME_DAY, **more})


# The road


def test_a_fault_goes_from_its_report_over_class_and_repair_to_a_check_on_the_child() -> None:
    road = [What.TRIED, What.MINE, What.HOME, What.CLINIC, What.REPAIR, What.SAID, What.WORKING]
    fault = told(reported())
    passed = [stand(fault).stage]
    for n, what in enumerate(road, start=1):
        fault = follow(fault, step(what, n))
        passed.append(stand(fault).stage)
    assert passed == [
        Stage.REPORTED, Stage.TRIED, Stage.IN_HAND, Stage.HOME, Stage.CLINIC, Stage.REPAIR, Stage.SAID, Stage.WORKING,
    ]  # fmt: skip
    assert (stand(fault).reported, stand(fault).over) == (EIGHT, EIGHT + timedelta(hours=7))


def test_what_is_said_to_be_working_and_reported_again_does_not_work() -> None:
    assert stand(told(reported(), step(What.SAID, 1), reported(2))).stage is Stage.REPORTED


def test_a_report_of_what_is_at_repair_leaves_it_there() -> None:
    now = stand(told(reported(), step(What.REPAIR, 1), reported(2)))
    assert (now.stage, now.reports) == (Stage.REPAIR, 2)


def test_whoever_takes_what_is_away_answers_for_it_and_it_stays_away() -> None:
    now = stand(told(reported(), step(What.CLINIC, 1), step(What.MINE, 2, by="audiologist")))
    assert (now.stage, now.holder) == (Stage.CLINIC, "audiologist")


def test_while_a_loaner_is_worn_nothing_said_of_the_child_ends_the_road() -> None:
    lent = told(reported(), step(What.LENT, 1, detail="lo-1"))
    with pytest.raises(OutOfPlace):
        follow(lent, step(What.WORKING, 2))
    back = follow(lent, step(What.RETURNED, 3))
    assert stand(follow(back, step(What.WORKING, 4))).stage is Stage.WORKING


def test_a_loaner_of_which_nobody_said_which_can_be_named_later() -> None:
    now = stand(told(reported(), step(What.LENT, 1), step(What.LENT, 2, detail="lo-1")))
    assert now.lent == "lo-1"
    assert not may(now, What.LENT)


def test_nothing_happens_to_a_fault_that_is_over_but_a_note() -> None:
    over = stand(told(reported(), step(What.WORKING, 1)))
    assert [what for what in What if may(over, what)] == [What.NOTE]


def test_a_fault_begins_with_its_report() -> None:
    with pytest.raises(OutOfPlace):
        told(step(What.MINE))
    with pytest.raises(ValueError, match="no step"):
        stand(Fault("ft-1", "st-1", "hollow-road", "CABLE", MONDAY))


def test_the_gravest_report_counts_and_the_first_side_that_was_named() -> None:
    now = stand(told(reported(), reported(1, severity=Severity.URGENT, side=Side.LEFT), reported(2)))
    assert (now.severity, now.side) == (Severity.URGENT, Side.LEFT)


# Taken back


def test_a_report_taken_back_was_no_fault() -> None:
    fault = take_back(told(reported()), "in-0", EIGHT + timedelta(minutes=3))
    assert stand(fault).stage is Stage.NO_FAULT
    assert not counts(fault)


def test_of_two_reports_the_one_taken_back_leaves_the_other() -> None:
    fault = take_back(told(reported(), reported(1)), "in-0", EIGHT + timedelta(hours=1))
    assert (stand(fault).stage, stand(fault).reported) == (Stage.REPORTED, EIGHT + timedelta(hours=1))


STEPS = st.lists(st.tuples(st.sampled_from(list(What)), st.sampled_from(["", "lo-1"])), max_size=14)


def walked(wanted: list[tuple[What, str]]) -> Fault:
    """A fault to which of these things those happened that could, an hour apart."""
    fault = told(reported())
    for n, (what, detail) in enumerate(wanted, start=1):
        if may(stand(fault), what):
            fault = follow(fault, step(what, n, detail=detail, until=MONDAY if n % 2 else None))
    return fault


@given(STEPS)
def test_a_road_that_ended_stays_ended_and_never_as_working_with_a_loaner_out(
    wanted: list[tuple[What, str]],
) -> None:
    fault = walked(wanted)
    ends = [
        n
        for n in range(1, len(fault.steps) + 1)
        if stand(replace(fault, steps=fault.steps[:n])).stage in CLOSED
    ]
    assert all(s.what is What.NOTE for s in fault.steps[ends[0] :]) if ends else stand(fault).is_open
    assert stand(fault).stage is not Stage.WORKING or stand(fault).lent is None


@given(STEPS, st.integers(1, 14))
def test_taking_back_is_as_if_it_had_not_been_said(wanted: list[tuple[What, str]], n: int) -> None:
    fault = walked(wanted)
    undone = take_back(fault, f"in-{n}", EIGHT + timedelta(days=1))
    without = replace(fault, steps=tuple(s for s in fault.steps if s.said_in != f"in-{n}"))
    assert stand(undone) == stand(without)


@given(STEPS)
def test_whatever_happened_everything_taken_back_was_no_fault(wanted: list[tuple[What, str]]) -> None:
    fault = walked(wanted)
    for each in fault.steps:
        fault = take_back(fault, each.said_in or "", EIGHT + timedelta(days=1))
    assert stand(fault).stage is Stage.NO_FAULT


# Joining, and coming again


@pytest.mark.parametrize(
    ("open_side", "said", "joins"),
    [
        (Side.LEFT, Side.LEFT, True), (Side.LEFT, Side.RIGHT, False), (Side.LEFT, None, True),
        (None, Side.RIGHT, True), (None, None, True),
    ],
)  # fmt: skip
def test_a_report_joins_what_is_open_on_its_side_or_on_no_named_one(
    open_side: Side | None, said: Side | None, joins: bool
) -> None:
    held = told(reported(side=open_side))
    assert (joined([held], "CABLE", said) is held) is joins
    assert joined([held], "COIL", said) is None


def test_nothing_joins_what_is_over() -> None:
    assert joined([told(reported(), step(What.WORKING, 1))], "CABLE", None) is None


@given(st.lists(st.tuples(st.sampled_from(["CABLE", "COIL"]), st.sampled_from([None, *Side])), max_size=12))
def test_however_often_it_is_reported_a_device_has_one_open_fault_of_a_code(
    said: list[tuple[str, Side | None]],
) -> None:
    held: dict[str, Fault] = {}
    for n, (code, side) in enumerate(said):
        known = joined(held.values(), code, side) or Fault(f"ft-{n}", "st-1", "hollow-road", code, MONDAY)
        held[known.id] = follow(known, reported(n, side=side))
    kinds = [(f.code, stand(f).side) for f in held.values()]
    assert len(set(kinds)) == len(kinds)
    assert sum(stand(f).reports for f in held.values()) == len(said)


def ended(on: date, code: str = "CABLE") -> Fault:
    days = (on - MONDAY).days
    return told(reported(), step(What.WORKING, 24 * days + 1), code=code)


@pytest.mark.parametrize(("opened", "flagged"), [(date(2026, 11, 9), True), (date(2026, 11, 10), False)])
def test_the_same_fault_within_twenty_school_days_comes_again_too_soon(opened: date, flagged: bool) -> None:
    """Worked on Monday 5 October; a week of holidays does not count: the twentieth school day is 9 November (counted
    by hand on a calendar).
    """
    before = ended(MONDAY)
    found = came_again([before], "CABLE", None, opened, is_school, datetime.date)
    assert (found is before) is flagged


def test_another_fault_or_one_that_never_worked_is_no_coming_again() -> None:
    open_still, taken = told(reported()), take_back(told(reported()), "in-0", EIGHT)
    held = [ended(MONDAY, "COIL"), open_still, taken]
    assert came_again(held, "CABLE", None, date(2026, 10, 8), is_school, datetime.date) is None


def test_school_days_are_counted_after_the_first_date_up_to_the_last() -> None:
    assert school_days(MONDAY, MONDAY, is_school) == 0
    assert school_days(MONDAY, date(2026, 10, 12), is_school) == 5
    assert school_days(MONDAY, date(2028, 1, 1), is_school) is None


# Promises


def test_a_date_holds_until_it_is_over() -> None:
    now = stand(told(reported(), step(What.REPAIR, 1, until=date(2026, 10, 9))))
    assert [has_passed(now, date(2026, 10, day)) for day in (8, 9, 10)] == [False, False, True]


def test_its_holder_is_reminded_on_the_next_school_morning() -> None:
    assert reminded_on(date(2026, 10, 6), is_school) == date(2026, 10, 7)
    assert reminded_on(date(2026, 10, 16), is_school) == date(2026, 10, 26)
    assert reminded_on(MONDAY, lambda _: False) is None


def test_a_reminder_is_for_one_date_and_a_new_date_asks_anew() -> None:
    fault = told(reported(), step(What.REPAIR, 1, until=MONDAY), step(What.REMINDED, 30))
    assert not stand(fault).asks
    assert not may(stand(fault), What.REMINDED)
    assert stand(follow(fault, step(What.PROMISED, 31, until=date(2026, 10, 20)))).asks


def test_what_is_back_has_made_its_date_good() -> None:
    now = stand(told(reported(), step(What.REPAIR, 1, until=MONDAY), step(What.SAID, 2)))
    assert (now.promised, now.asks, now.holder) == (None, False, "somebody")


# What the morning asks


@pytest.mark.parametrize(
    ("steps", "asked"),
    [
        ([], Ask.WORKS), ([What.TRIED], Ask.WORKS), ([What.MINE], Ask.WORKS), ([What.HOME], Ask.BACK),
        ([What.REPAIR], Ask.BACK), ([What.REPAIR, What.LENT], Ask.LOANER), ([What.SAID], Ask.SEEN),
    ],
)  # fmt: skip
def test_only_what_makes_sense_is_asked(steps: list[What], asked: Ask) -> None:
    fault = told(reported(), *[step(what, n) for n, what in enumerate(steps, start=1)])
    assert ask(stand(fault)) is asked


def test_after_an_incident_the_child_comes_first() -> None:
    assert ask(stand(told(reported(), step(What.LENT, 1))), incident=True) is Ask.CHILD


def test_sores_illness_blows_and_emergencies_are_incidents() -> None:
    assert {code for code, known in CODES.items() if is_incident(known)} == {
        "SORE",
        "UNWELL",
        "KNOCK",
        "SWALLOWED",
    }


def test_an_incident_is_followed_up_on_the_first_school_morning_after_it() -> None:
    friday = date(2026, 10, 16)
    asked = [day for n in range(15) if is_followed_up(friday, day := friday + timedelta(days=n), is_school)]
    assert asked == [date(2026, 10, 26)]


# School minutes


def school_day(on: date) -> SchoolDay:
    start = datetime(on.year, on.month, on.day, 8, tzinfo=UTC)
    return SchoolDay("hollow-road", on, "regular", None, (), {}, start, start + timedelta(hours=7), "UTC")


def minutes(fault: Fault, now: datetime, away: tuple[date, ...] = ()) -> Lost:
    days = [school_day(MONDAY + timedelta(days=n)) for n in range(3)]
    return lost(broken(fault, away, now, lambda at: at.replace(hour=15, minute=0)), days, now)


def test_minutes_are_lost_between_bells_until_it_works_and_a_loaner_bridges_them() -> None:
    """Reported 08:05, loaner 09:05, working the next day 10:05: an hour without, the rest of 415 and 125 minutes
    with the loaner (reckoned by hand).
    """
    fault = told(reported(), step(What.LENT, 1), step(What.RETURNED, 26), step(What.WORKING, 26))
    assert minutes(fault, EIGHT + timedelta(days=2)) == Lost(60, 355 + 125, open=False)


def test_one_tap_of_other_access_bridges_the_rest_of_its_day_alone() -> None:
    fault = told(reported(), step(What.ACCESS, 1, detail="notes given"))
    assert minutes(fault, EIGHT + timedelta(days=1)) == Lost(60 + 5, 355, open=True)


def test_a_day_away_is_not_lost_by_the_fault() -> None:
    assert minutes(told(reported()), EIGHT + timedelta(days=1), (MONDAY,)) == Lost(5, 0, open=True)


# Loaners

AID, IMPLANT = DeviceKind.HEARING_AID, DeviceKind.COCHLEAR_IMPLANT
PROCESSOR = Loaner("lo-1", "hollow-road", IMPLANT, "processor, grey", set_for="st-1")


@pytest.mark.parametrize(
    ("loaner", "why"),
    [
        (PROCESSOR, None),
        (replace(PROCESSOR, set_for="st-2"), Refusal.ANOTHERS),
        (replace(PROCESSOR, set_for=None), Refusal.NOT_SET),
        (replace(PROCESSOR, kind=AID), Refusal.OTHER_KIND),
        (replace(PROCESSOR, side=Side.RIGHT), Refusal.OTHER_SIDE),
        (replace(PROCESSOR, id="lo-2"), Refusal.OUT),
        (Loaner("lo-3", "hollow-road", DeviceKind.REMOTE_MIC, "microphone"), Refusal.OTHER_KIND),
    ],
)
def test_a_device_goes_only_to_the_child_it_is_set_for(loaner: Loaner, why: Refusal | None) -> None:
    assert refusal(loaner, "st-1", {IMPLANT}, Side.LEFT, {"lo-2": "st-9"}) is why


def test_a_classroom_microphone_has_no_settings_of_a_child_and_may_go_to_any() -> None:
    microphone = Loaner("lo-3", "hollow-road", DeviceKind.REMOTE_MIC, "microphone")
    assert refusal(microphone, "st-1", {DeviceKind.REMOTE_MIC}, None, {}) is None


@given(
    st.sampled_from(list(DeviceKind)), st.sampled_from([None, *Side]), st.sampled_from(["st-2", "st-3"]),
    st.sets(st.sampled_from(list(DeviceKind))), st.sampled_from([None, *Side]), st.booleans(),
)  # fmt: skip
def test_nothing_makes_another_childs_device_lendable(
    kind: DeviceKind, side: Side | None, owner: str, kinds: set[DeviceKind], of: Side | None, out: bool
) -> None:
    held = Loaner("lo-1", "hollow-road", kind, "device", owner, side)
    assert refusal(held, "st-1", kinds, of, {"lo-1": "st-1"} if out else {}) is Refusal.ANOTHERS


def test_a_fault_is_about_the_devices_its_code_goes_with_on_its_side() -> None:
    devices = (Device(IMPLANT, Side.LEFT), Device(AID, Side.RIGHT), Device(DeviceKind.REMOTE_MIC))
    assert kinds_of(CODES["CABLE"], devices, None) == {IMPLANT}
    assert kinds_of(CODES["BAT"], devices, Side.RIGHT) == {AID}
    assert kinds_of(CODES["LINK"], devices, None) >= {DeviceKind.REMOTE_MIC}


def test_a_stand_says_whether_it_is_open() -> None:
    held: list[Stand] = [stand(told(reported())), stand(told(reported(), step(What.LEFT, 1)))]
    assert [now.is_open for now in held] == [True, False]
