# ruff: noqa: E501 - a table of slips reads best with one line for each
"""What is wrong with a folder is said with file, line, what is wrong and what would be right."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from service.setup import load
from service.setup.judge import judge_zone_data
from service.setup.kinds import Reading

BEFORE = "{before: Period 1, by: 10 min}"
CASES = [
    # what stands there, what is put, what is said
    ("an unknown bell, with the nearest name", "before: Period 1,", "before: Perod 1,", "no bell 'Perod 1'; did you mean 'Period 1'"),
    ("an unknown checker", "checker: l-teal", "checker: l-teel", "no person 'l-teel'; did you mean 'l-teal'"),
    ("an unknown second checker", "second: r-moss", "second: r-mos", "no person 'r-mos'; did you mean 'r-moss'"),
    ("an unknown guardian", "guardians: [g-pike]", "guardians: [g-pyke]", "no person 'g-pyke'; did you mean 'g-pike'"),
    ("a guardian who is none", "guardians: [g-pike]", "guardians: [r-moss]", "r-moss is no guardian"),
    ("an unknown school of a student", "school: hollow-road", "school: holow-road", "did you mean 'hollow-road'"),
    ("an unknown school of a role", "[{checker: hollow-road}]", "[{checker: holow-road}]", "did you mean 'hollow-road'"),
    ("an unknown role", "[coordinator]", "[coordinater]", "'coordinater' is no role; did you mean 'coordinator'"),
    ("an unknown chain", "silence: silence,", "silence: silense,", "no chain 'silense'; did you mean 'silence'"),
    ("an unknown channel of a person", "[{mail: c.reed", "[{male: c.reed", "no channel 'male'; did you mean 'mail'"),
    ("an unknown channel of a step", "limit: 20 min}", "limit: 20 min, channels: [mial]}", "no channel 'mial'; did you mean 'mail'"),
    ("an unknown contact of a step", "tell: c-reed", "tell: c-read", "'c-read' is no person and no role; did you mean 'c-reed'"),
    ("an unknown day type", "mon-fri: regular", "mon-fri: regulor", "no day type 'regulor' at hollow-road; did you mean 'regular'"),
    ("an unknown deputy", "roles: [coordinator]", "roles: [coordinator]\n    deputies: [r-mos]", "no person 'r-mos'; did you mean 'r-moss'"),
    ("an unknown zone", "America/Chicago", "America/Chicargo", "no time zone 'America/Chicargo'; did you mean 'America/Chicago'"),
    ("an unknown section", "students:", "studnets:", "no section 'studnets'; did you mean 'students'"),
    ("an unknown key", 'room: "12"', 'rooom: "12"', "no key 'rooom'; did you mean 'room'"),
    ("an unknown kind of device", "right hearing-aid", "right hearing-ade", "'hearing-ade' is no kind of device; did you mean 'hearing aid'"),
    ("a form that the kind has not", "left cochlear-implant", "left cochlear-implant adhesive", "a cochlear-implant has no form 'adhesive'; write one of: cable-and-coil, single-unit"),
    ("a form of what has one only", "right hearing-aid", "right hearing-aid band", "a hearing-aid has no form 'band'; leave it out"),
    ("a size of cell that there is not", "right hearing-aid", "right hearing-aid 12", "'12' is no size of a cell; use one of: 10, 312, 13, 675, rechargeable"),
    ("two ways of power", "right hearing-aid", "right hearing-aid 13 rechargeable", "says two forms or two ways of power"),
    ("a device written twice with different cells", "right hearing-aid,", "left cochlear-implant 675,", "a device stands twice"),
    ("an unknown weekday", "mon-fri: regular", "mon-fry: regular", "'fry' is no weekday; did you mean 'fri'"),
    ("a key that is missing", "    room: \"12\"\n", "", "s-110 says nothing of 'room'; add room: the room"),
    ("a hearing aid without a side", "right hearing-aid", "hearing-aid", "does not say one side; write left hearing-aid or right hearing-aid"),
    ("a classroom microphone with a side", "remote-mic]", "left remote-mic]", "a classroom microphone has no side"),
    ("a device written twice", "right hearing-aid,", "left cochlear-implant,", "a device stands twice"),
    ("terms that overlap", "2027-01-05 to", "2026-12-10 to", "the term Spring overlaps the term Autumn"),
    ("a term longer than a year", "2027-01-05 to 2027-05-28", "2027-01-05 to 2028-05-28", "longer than a year"),
    ("a term that ends before it begins", "2027-01-05 to 2027-05-28", "2027-05-28 to 2027-01-05", "ends before it begins; write the earlier date first"),
    ("30 February", "2027-05-28", "2027-02-30", "2027-02-30 is no date; February 2027 has 28 days"),
    ("a thirteenth month", "2027-05-28", "2027-13-28", "there is no month 13"),
    ("25:00", "Last bell: 15:00", "Last bell: 25:00", "'25:00' is no time of day; hours run from 00 to 23"),
    ("24:00", "Last bell: 15:00", "Last bell: 24:00", "24:00 is no time of a school day"),
    ("24 00", "Last bell: 15:00", "Last bell: 24 00", "is no time of day; write hours and minutes as 08:05"),
    ("a last bell before the first", "Last bell: 15:00", "Last bell: 07:00", "the last bell 'Last bell' (07:00) comes before 'First bell' (08:00)"),
    ("an afternoon written on twelve hours", "Last bell: 15:00", "Last bell: 3:00", "did you mean 15:00?"),
    ("bells out of order", "Period 2: 09:05 - 09:50", "Period 2: 08:10 - 08:12", "'Period 2' (08:10) comes before 'Period 1' (08:15); write the bells in the order"),
    ("a period that ends before it begins", "09:05 - 09:50", "09:50 - 09:05", "ends before it begins"),
    ("a bell named twice", "Period 2: 09:05", "Period 1: 09:05", "the bell 'Period 1' stands twice"),
    ("a routine on a day without school", "        checker: l-teal", "        checker: l-teal\n        days: [sat]", "the school is shut on sat"),
    ("a routine at an hour without school", BEFORE, "{at: 17:00}", "due at 17:00, when the school is shut"),
    ("a routine on a rotation day of a school without rotation", "        checker: l-teal", "        checker: l-teal\n        cycle days: [A]", "'A' is no day of the school's rotation"),
    ("the end of a bell that has none", BEFORE, "{after: end of First bell, by: 5 min}", "nobody says when 'First bell' ends"),
    ("no variant of that name", BEFORE, "{before: Period 1, by: 10 min, variant: upper}", "no day has the variant 'upper'"),
    ("a circle of deputies", "roles: [coordinator]", "roles: [coordinator]\n    deputies: [c-reed]", "the deputies go round in a circle: c-reed → c-reed"),
    ("a limit under five minutes", "limit: 10 min", "limit: 4 min", "4 min is too short: telling somebody can take up to 4 minutes"),
    ("a limit of nothing", "limit: 10 min", "limit: 0 min", "0 min is too short"),
    ("an else limit under five minutes", "limit: 20 min", "limit: {until: Period 1, else: 2 min}", "2 min is too short"),
    ("a limit longer than the day", "limit: 20 min", "limit: 8 h", "the limit of 8 h is longer than the day (7 h)"),
    ("an until bell that is nowhere", "limit: 20 min", "limit: {until: Perod 1}", "no bell 'Perod 1' at hollow-road; did you mean 'Period 1'"),
    ("a missing emergency number", '{number: "911", text: "Text 911"}', '{text: "Text 911"}', "says nothing of 'number'"),
    ("a missing text route", '{number: "911", text: "Text 911"}', '{number: "911"}', "says nothing of 'text'"),
    ("no emergency lines at all", '  emergency: {number: "911", text: "Text 911"}\n', "", "says nothing of 'emergency'"),
    ("a guardian without consent", "    consent: 2026-08-20\n", "", "g-pike is outside the district and has no date of consent"),
    ("a cause without a chain", "urgent: fault, ", "", "no chain is chosen for urgent"),
    ("a gathering over two minutes", "channels:\n  mail", "settings: {gather: 3 min}\nchannels:\n  mail", "3 min is too long: a contact must be told within 4 minutes"),
    ("an alias that is a number", "alias: Wren", "alias: 7", "'7' is a number"),
    ("a checker without a channel", "    channels: [{mail: l.teal@larkfield.example}]\n", "", "l-teal cannot be asked: they have no channel"),
    ("a checker who is the second checker too", "second: r-moss", "second: l-teal", "both checker and second checker"),
    ("an address that is no mail address", "c.reed@larkfield.example", "c.reed", "'c.reed' is no e-mail address"),
    ("an id with a space", "s-110:", "S Wren:", "'S Wren' is no id; write 'S-Wren'"),
    ("a person named like a role", "c-reed:", "nurse:", "'nurse' is the name of a role"),
    ("a fault code that is a slip", "students:", "faults: {CABEL: {try for: 0 min}}\nstudents:", "did you mean CABLE?"),
    ("a word with two meanings", "students:", "faults: {CABLE: {words: [wire]}, COIL: {words: [wire]}}\nstudents:", "'wire' already means CABLE"),
    ("an empty value", "alias: Wren", "alias:", "alias is empty"),
    ("a list where one value belongs", "alias: Wren", "alias: [Wren]", "holds several values"),
    ("an email channel without its server", "host: mail.larkfield.example, ", "", "does not say its host"),
    ("a webhook's key on an email channel", "kind: email,", "kind: email, url: https://chat.example/x,", "'url' means nothing to a channel of kind email"),
    ("a routine that does not say how long before", BEFORE, "before Period 1", "does not say how long before"),
    ("a bell with a comma in its name", "Period 2: 09:05", '"Period 2, east": 09:05', "cannot name a bell"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "said"), [case[1:] for case in CASES], ids=[case[0] for case in CASES]
)
def test_each_slip_is_an_error_that_says_what_would_be_right(spoiled, old, new, said):
    loaded = spoiled((old, new))

    told = [str(p) for p in loaded.errors]
    assert any(said in line for line in told), told
    assert all(re.match(r"all\.yaml:\d+: .+; .+", line) for line in told)
    assert loaded.district is None


def test_the_good_district_has_no_problem(spoiled):
    loaded = spoiled()

    assert loaded.problems == ()
    assert loaded.district is not None


def test_a_problem_names_the_line_of_the_value(spoiled, good):
    loaded = spoiled(("second: r-moss", "second: r-mos"))

    line = good[: good.index("second: r-moss")].count("\n") + 1
    assert [(p.file, p.line) for p in loaded.problems] == [("all.yaml", line)]


def test_every_problem_is_told_at_once(spoiled):
    loaded = spoiled(
        ("America/Chicago", "America/Chicargo"),
        ("2027-05-28", "2027-02-30"),
        ("second: r-moss", "second: r-mos"),
        ("limit: 10 min", "limit: 1 min"),
        ('room: "12"', 'rooom: "12"'),
    )

    told = "\n".join(str(p) for p in loaded.errors)
    for part in ("Chicargo", "2027-02-30", "r-mos", "1 min", "rooom"):
        assert part in told


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("limit: 10 min", "limit: 10 mn"),
        ("checker: l-teal", "checker: L Teal"),
        ("zone: America/Chicago", "zone:"),
        ("consent: 2026-08-20", "consent: 2026-02-30"),
        ("      mon-fri: regular", "      mon-fry: regular"),
        ("kind: email", "kind: e-mial"),
    ],
)
def test_one_slip_gives_one_problem(spoiled, old, new):
    assert len(spoiled((old, new)).problems) == 1


def test_a_day_with_one_bell_is_an_error(spoiled):
    bells = (
        "          - First bell: 10:00\n          - Period 1: 10:15 - 10:45\n          - Last bell: 15:00\n"
    )
    loaded = spoiled((bells, "          - First bell: 10:00\n"))

    assert "has 1 entries; write at least 2" in str(loaded.errors[0])


def test_a_bell_that_rings_only_on_days_that_the_routine_never_has_is_an_error(spoiled):
    loaded = spoiled(("mon-fri: regular", "mon-fri: late start"), ("before: Period 1,", "before: Period 2,"))

    assert "rings on no day that this routine has (late start); it rings on: regular" in str(loaded.errors[0])


def test_a_bell_missing_on_some_days_is_a_warning_that_lists_them(spoiled):
    loaded = spoiled(
        ("mon-fri: regular", "mon-thu: regular\n      fri: late start"),
        ("before: Period 1,", "before: Period 2,"),
    )

    assert [str(p) for p in loaded.errors] == []
    assert "no bell 'Period 2' and so no check on: late start" in str(loaded.warnings[0])
    assert ": warning: " in str(loaded.warnings[0])


def test_an_until_bell_missing_on_some_day_types_is_a_warning_that_lists_them(spoiled):
    loaded = spoiled(("limit: 20 min", "limit: {until: end of Period 2, else: 12 min}"))

    assert loaded.errors == ()
    assert "at hollow-road there is no bell 'Period 2' on: late start" in str(loaded.warnings[0])


def test_overlapping_periods_are_a_warning(spoiled):
    loaded = spoiled(("Period 2: 09:05", "Period 2: 08:50"))

    assert loaded.errors == ()
    assert "Period 2 begins at 08:50, before Period 1 ends (09:00)" in str(loaded.warnings[0])


def test_a_closure_of_the_wrong_year_is_a_warning_with_the_right_year(spoiled):
    loaded = spoiled(("2026-11-26 to 2026-11-27", "2025-11-26 to 2025-11-27"))

    assert loaded.errors == ()
    assert "is outside every term; did you mean 2026-11-26?" in str(loaded.warnings[0])


def test_a_closure_of_a_whole_term_is_a_warning(spoiled):
    loaded = spoiled(("2026-11-26 to 2026-11-27", "2026-09-01 to 2026-12-01"))

    assert "lasts 92 days" in str(loaded.warnings[0])


def test_a_zone_with_one_offset_all_year_is_a_warning(spoiled):
    loaded = spoiled(("America/Chicago", "Etc/GMT+4"))

    assert "has the same offset all year" in str(loaded.warnings[0])


def test_a_chain_that_reaches_nobody_is_an_error(spoiled):
    loaded = spoiled(
        ("- {tell: c-reed, limit: 20 min}\n      - {tell: guardian}", "- {tell: nurse}"),
    )

    assert "nobody can be reached on the chain fault at hollow-road" in str(loaded.errors[0])


def test_a_chain_whose_only_person_has_no_channel_is_an_error(spoiled):
    loaded = spoiled(
        ("      - {tell: guardian}\n", ""),
        ("    channels: [{mail: c.reed@larkfield.example}]\n", ""),
    )

    assert any("nobody can be reached on the chain fault" in str(p) for p in loaded.errors)


def test_a_step_that_reaches_nobody_is_a_warning(spoiled):
    loaded = spoiled(("- {tell: guardian}", "- {tell: nurse}"))

    assert loaded.errors == ()
    assert "step 2 (nurse) reaches nobody at hollow-road" in str(loaded.warnings[0])


def test_a_guardian_in_the_chain_for_silence_is_a_warning(spoiled):
    loaded = spoiled(("- {tell: coordinator}", "- {tell: guardian}"))

    assert any("would hear of a silence" in str(p) for p in loaded.warnings)


def test_a_circle_of_three_deputies_is_told_once(spoiled):
    loaded = spoiled(
        (
            "    roles: [{checker: hollow-road}]",
            "    roles: [{checker: hollow-road}]\n    deputies: [r-moss]",
        ),
        ("    roles: [{second checker", "    deputies: [c-reed]\n    roles: [{second checker"),
        ("    roles: [coordinator]", "    roles: [coordinator]\n    deputies: [l-teal]"),
    )

    assert [p.wrong for p in loaded.errors] == [
        "the deputies go round in a circle: c-reed → l-teal → r-moss → c-reed"
    ]


def test_two_who_stand_in_for_each_other_at_different_times_are_no_circle(spoiled):
    loaded = spoiled(
        (
            "roles: [{checker: hollow-road}]",
            "roles: [{checker: hollow-road}]\n    deputies: [r-moss: 2026-10-01 to 2026-10-09]",
        ),
        (
            "    roles: [{second checker",
            "    deputies: [l-teal: 2026-11-01 to 2026-11-09]\n    roles: [{second checker",
        ),
    )

    assert loaded.problems == ()


def test_an_alias_must_be_unique_in_its_room(spoiled, good):
    student = good[good.index("  s-110:") :]
    other = student.replace("s-110", "s-two").replace("alias: Wren", "alias: wren")
    same_room = spoiled((student, student + other))
    other_room = spoiled((student, student + other.replace('"12"', '"13"')))

    assert "'wren' already names s-110 in room 12" in str(same_room.errors[0])
    assert other_room.problems == ()


@pytest.mark.parametrize(("id", "warned"), [("s-wren", True), ("Birdie-2", True), ("s-110", False), ("s-wr", False)])
def test_an_id_that_holds_a_name_of_the_child_is_a_warning(spoiled, good, id, warned):
    student = good[good.index("  s-110:") :]
    named = student.replace("s-110", id).replace("alias: Wren", "alias: Wren\n    nicknames: [Birdie, Wr]")
    found = [str(p) for p in spoiled((student, named)).problems]

    assert [("ids stay in the log" in p, "choose an id that says nothing" in p) for p in found] == [(True, True)] * warned


def test_a_nickname_counts_as_an_alias(spoiled, good):
    student = good[good.index("  s-110:") :]
    other = student.replace("s-110", "s-two").replace("alias: Wren", "alias: Kite\n    nicknames: [Wren]")

    assert "'Wren' already names s-110" in str(spoiled((student, student + other)).errors[0])


def test_outdated_zone_data_is_an_error():
    old, new = Reading(), Reading()
    judge_zone_data("2025b", old)
    judge_zone_data("2026f", new)

    assert "the time-zone data is of edition 2025b" in str(old.problems[0])
    assert new.problems == []


def test_a_range_of_dates_opens_no_saturday_but_a_single_date_does(spoiled):
    loaded = spoiled(
        (
            "    week:",
            "    dates:\n      - 2026-09-04 to 2026-09-07: late start\n      - 2026-09-12: late start\n    week:",
        )
    )

    assert loaded.district is not None
    assert [str(day) for day in loaded.district.schools["hollow-road"].dates] == [
        "2026-09-04",
        "2026-09-07",
        "2026-09-12",
    ]


@pytest.mark.parametrize(("role", "put"), [("coordinator", "nurse"), ("front office", "visiting staff")])
def test_a_school_without_coordinator_or_front_office_is_a_warning(spoiled, role, put):
    loaded = spoiled(
        (f"roles: [{role}]", f"roles: [{put}]") if role == "coordinator" else (f"{{{role}:", f"{{{put}:")
    )

    assert any(f"hollow-road has no {role}" in str(p) for p in loaded.warnings)


def test_what_is_wrong_with_the_whole_is_told_of_the_folder(write):
    folder = write({"a.yaml": "settings: {gather: 1 min}\n"})

    told = [str(p) for p in load(folder, {}).errors]
    assert f"{folder}:1: there is no school; add schools: with at least one school" in told
    assert any("there is no district section" in line for line in told)


def test_reading_a_folder_needs_no_database_and_no_web_framework():
    script = (
        "import sys, service.setup; print(' '.join(sorted({name.split('.')[0] for name in sys.modules})))"
    )
    root = Path(__file__).parents[2]
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=root, capture_output=True, text=True, check=True
    )

    assert "ruamel" in done.stdout.split()
    assert not {"pydantic", "sqlmodel", "sqlalchemy", "fastapi", "httpx", "jinja2"} & set(done.stdout.split())


@pytest.mark.parametrize("wrong", ["z heard", "s", "s 16 of 15", "s 0 of 0", "sh sometimes", "both s heard"])
def test_what_is_usual_is_said_in_few_words_or_refused_with_what_would_be_right(spoiled, wrong):
    loaded = spoiled(("    alias: Wren\n", f"    alias: Wren\n    usual: [{wrong}]\n    usual since: 2026-09-21\n"))

    assert any("does not say what is usual" in str(p) and "left sh 2 of 15" in str(p) for p in loaded.problems)


def test_what_is_usual_without_a_date_watches_nothing_and_says_so(spoiled):
    loaded = spoiled(("    alias: Wren\n", "    alias: Wren\n    usual: [all heard]\n"))

    assert any("no change is watched" in str(p) for p in loaded.warnings)


def test_one_device_has_no_side_alone(spoiled):
    loaded = spoiled(
        ("    alias: Wren\n", "    alias: Wren\n    usual: [right s heard]\n    usual since: 2026-09-21\n"),
        ("devices: [left cochlear-implant, right hearing-aid, remote-mic]", "devices: [right hearing-aid]"),
    )

    assert any("leave the side out" in str(p) for p in loaded.problems)
