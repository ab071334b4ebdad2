"""Everything a district can hold can be written, and is read as written."""

from datetime import date, time, timedelta

import pytest

from service.core.district import (
    Bell,
    ChainChoice,
    ContactKind,
    Deputy,
    Device,
    DeviceKind,
    Hours,
    Reachable,
    Role,
    RoleAt,
    Rotation,
    Settings,
    Severity,
    Side,
    Span,
    Stated,
)
from service.setup.words import device

SETTINGS = """\
settings:
  gather: 1 min
  news wait: 20 min
  accept within: 90 s
  undo within: 4 min
  until at least: 6 min
  overnight lead: 40 min
  last again: 20 min
  last again times: 2
  emergency again: 6 min
  emergency rest: 2 h
  bus window: 25 min
  restart grace: 60 s
  try for: 0 min
  try for urgent: 3 min
  settle in: 5 days
channels:
"""


def test_every_setting_can_be_written(spoiled):
    minutes = [timedelta(minutes=n) for n in (1, 20, 4, 6, 40, 20, 6)]
    loaded = spoiled(("channels:\n", SETTINGS))

    assert loaded.problems == ()
    assert loaded.district.settings == Settings(
        gather=minutes[0],
        news_wait=minutes[1],
        accept_within=timedelta(seconds=90),
        undo_within=minutes[2],
        until_at_least=minutes[3],
        overnight_lead=minutes[4],
        last_again=minutes[5],
        last_again_times=2,
        emergency_again=minutes[6],
        emergency_rest=timedelta(hours=2),
        bus_window=timedelta(minutes=25),
        restart_grace=timedelta(seconds=60),
        try_for=timedelta(),
        try_for_urgent=timedelta(minutes=3),
        settle_in_days=5,
    )


def test_without_settings_the_defaults_of_the_core_hold(spoiled):
    assert spoiled().district.settings == Settings()


def test_everything_of_a_person_can_be_written(spoiled):
    loaded = spoiled(
        (
            "    roles: [coordinator]\n",
            """\
    roles: [coordinator, {second checker: hollow-road}]
    hours: {mon-thu: 07:30 - 16:00, fri: 8:00-12:00}
    away: [Course: 2026-10-05 to 2026-10-06, 2026-11-02]
    deputies: [r-moss: 2026-10-05 to 2026-10-06, l-teal]
    language: es
    outside: no
    left on: 2027-05-28
""",
        )
    )

    person = loaded.district.people["c-reed"]
    assert loaded.problems == ()
    assert person.roles == (RoleAt(Role.COORDINATOR), RoleAt(Role.SECOND, ("hollow-road",)))
    assert person.channels == (Reachable("mail", "c.reed@larkfield.example"),)
    long, short = (time(7, 30), time(16)), (time(8), time(12))
    assert person.hours == Hours({1: long, 2: long, 3: long, 4: long, 5: short})
    course = Span(date(2026, 10, 5), date(2026, 10, 6))
    assert person.away == (
        Span(course.first, course.last, "Course"),
        Span(date(2026, 11, 2), date(2026, 11, 2)),
    )
    assert person.deputies == (Deputy("r-moss", course), Deputy("l-teal"))
    assert (person.language, person.outside, person.left_on) == ("es", False, date(2027, 5, 28))


def test_a_guardian_is_outside_the_district_without_saying_so(spoiled):
    guardian = spoiled().district.people["g-pike"]

    assert guardian.outside
    assert guardian.consent == date(2026, 8, 20)


def test_everything_of_a_school_can_be_written(spoiled):
    loaded = spoiled(
        (
            "    week:\n",
            """\
    groups: [east, small]
    dates:
      - 2026-12-18: late start
    rotation:
      labels: A, B
      start: 2026-08-24
      restarts: [2027-01-05: B]
      day types: {B: late start}
    delayed type: late start
    chains: {silence: silence}
    week:
""",
        ),
        (
            "          - Last bell: 15:00\n      late",
            "          - Last bell: 15:00\n        variants: {upper: [Period 2: 09:10 - 09:55]}\n      late",
        ),
    )

    school = loaded.district.schools["hollow-road"]
    assert loaded.errors == ()
    assert school.groups == ("east", "small")
    assert school.dates == {date(2026, 12, 18): "late start"}
    assert school.rotation == Rotation(
        ("A", "B"), date(2026, 8, 24), {date(2027, 1, 5): "B"}, {"B": "late start"}
    )
    assert school.delayed_type == "late start"
    assert school.chains == ChainChoice(silence="silence")
    assert school.day_types["regular"].variants == {"upper": (Bell("Period 2", time(9, 10), time(9, 55)),)}
    assert school.day_types["regular"].bells[0] == Bell("First bell", time(8))
    assert school.week == dict.fromkeys(range(1, 6), "regular")


def test_everything_of_a_student_can_be_written(spoiled):
    loaded = spoiled(
        (
            "    alias: Wren\n",
            "    alias: Wren\n    nicknames: Birdie, Jenny\n    chains: {same day: fault}\n"
            "    usual: [all heard, s never, L sh 2 of 15]\n    usual since: 2026-09-21\n",
        ),
        (
            "        second: r-moss\n",
            "        second: r-moss\n        days: mon, wed-thu\n        kind: full\n",
        ),
    )

    student = loaded.district.students["s-110"]
    assert loaded.problems == ()
    assert student.nicknames == ("Birdie", "Jenny")
    assert student.chains == ChainChoice(same_day="fault")
    assert student.usual == (
        Stated(None, None, 0, 15), Stated(None, "s", 15, 15), Stated(Side.LEFT, "sh", 2, 15)
    )  # fmt: skip
    assert student.usual_since == date(2026, 9, 21)
    assert student.devices == (
        Device(DeviceKind.COCHLEAR_IMPLANT, Side.LEFT),
        Device(DeviceKind.HEARING_AID, Side.RIGHT),
        Device(DeviceKind.REMOTE_MIC),
    )
    assert student.routines[0].weekdays == (1, 3, 4)
    assert student.routines[0].kind == "full"


@pytest.mark.parametrize(
    ("written", "stored"),
    [
        ("left hearing-aid", "left hearing-aid"),
        ("312 hearing aid L", "left hearing-aid 312"),
        ("R CI single unit size 675 cell", "right cochlear-implant single-unit 675"),
        ("left bone conduction soft band rechargeable", "left bone-conduction band rechargeable"),
        ("right bone-conduction abutment 13", "right bone-conduction abutment 13"),
        ("remote-mic", "remote-mic"),
    ],
)  # fmt: skip
def test_a_device_may_say_its_form_and_what_it_runs_on(written, stored):
    assert device(written) == stored
    assert device(stored) == stored


def test_everything_of_a_chain_can_be_written(spoiled):
    loaded = spoiled(
        (
            "  fault:\n    steps:\n",
            "  fault:\n    reminders: 0\n    mine at most: 45 min\n    after hours: carry on\n    steps:\n"
            "      - {tell: second checker, limit: 5 min, channels: mail, any hour: yes}\n",
        )
    )

    chain = loaded.district.chains["fault"]
    assert loaded.problems == ()
    assert (chain.reminders, chain.mine_at_most, chain.carries_on) == (0, timedelta(minutes=45), True)
    assert [step.contact.kind for step in chain.steps] == [
        ContactKind.SECOND,
        ContactKind.PERSON,
        ContactKind.ROLE,
    ]
    assert (chain.steps[0].channels, chain.steps[0].any_hour) == (("mail",), True)


def test_a_fault_code_can_be_changed_or_added(spoiled):
    text = """\
faults:
  CABLE: {try for: 0 min, words: [wire, lead]}
  CHARGE:
    label: charger dark
    severity: same_day
    devices: cochlear-implant
    remedy: [Plug the charger in, and wait.]
    never: [Do not warm it.]
students:
"""
    faults = spoiled(("students:\n", text)).district.faults

    assert faults["CABLE"].try_for == timedelta()
    assert (faults["CABLE"].severity, faults["CABLE"].remedy) == (None, None)
    assert faults["CHARGE"].severity is Severity.SAME_DAY
    assert faults["CHARGE"].devices == (DeviceKind.COCHLEAR_IMPLANT,)
    assert faults["CHARGE"].never == ("Do not warm it.",)


def test_a_channels_settings_are_passed_on_as_written(spoiled):
    channel = """\
channels:
  chat:
    kind: webhook
    shared: yes
    signing secret: [{env: NEW}, {env: OLD}]
    template: {to: "{to}", count: 5, flag: true, none: null, parts: ["{text}", x]}
    in: {from: /user/id, text: /text, token: {env: TOKEN}}
    rate: 10 / minute
    allow: localhost
"""
    setup = spoiled(("channels:\n", channel)).district.channels["chat"]

    assert (setup.kind, setup.shared) == ("webhook", True)
    assert setup.options["signing secret"] == [{"env": "NEW"}, {"env": "OLD"}]
    assert setup.options["template"] == {
        "to": "{to}",
        "count": 5,
        "flag": True,
        "none": None,
        "parts": ["{text}", "x"],
    }
    assert setup.options["in"] == {"from": "/user/id", "text": "/text", "token": {"env": "TOKEN"}}
    assert setup.options["rate"] == "10 per minute"
    assert setup.options["allow"] == ["localhost"]


def test_a_template_field_without_quotes_is_explained(spoiled):
    loaded = spoiled(("channels:\n", "channels:\n  chat: {kind: webhook, template: {words: {text}}}\n"))

    assert """{text} stands without quotes; write "{text}\"""" in str(loaded.errors[0])


def test_who_names_no_language_reads_the_districts(spoiled):
    loaded = spoiled(
        ("  name: Larkfield\n", "  name: Larkfield\n  language: es\n"),
        ("    roles: [coordinator]\n", "    roles: [coordinator]\n    language: en\n"),
    )

    assert loaded.problems == ()
    assert {id: person.language for id, person in loaded.district.people.items()} == {
        id: "en" if id == "c-reed" else "es" for id in loaded.district.people
    }
