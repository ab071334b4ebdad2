"""Students as a sheet: a secretary fills it in with a spreadsheet, and sees what it would do."""

import csv
import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.setup import load
from service.setup.sheet import read_sheet, write_sheet

DEMO = Path(__file__).parents[2] / "config_demo"
HEADER = "student,alias,school,room,devices,when,checker,second checker\n"
KITE = ',Kite,hollow-road,12,"L cochlear-implant; R hearing-aid; remote-mic",10 min before Period 1,l-teal,r-moss\n'


@pytest.fixture(scope="module")
def demo():
    return load(DEMO, {})


@pytest.fixture(scope="module")
def district(demo):
    return demo.district


def test_what_is_written_reads_back_and_changes_nothing(demo):
    result = read_sheet(write_sheet(demo.documents), demo.district)

    assert result.problems == ()
    assert result.changes == ()
    assert result.documents["students"] == demo.documents["students"]


def test_a_new_row_adds_a_student_under_a_made_up_id(district):
    result = read_sheet(HEADER + KITE, district)

    student = result.documents["students"]["hollow-road-1"]
    assert result.problems == ()
    assert [(row.row, row.effect) for row in result.rows] == [(2, "added")]
    assert student["devices"] == ["left cochlear-implant", "right hearing-aid", "remote-mic"]
    assert student["routines"]["daily"]["when"] == {"before": "Period 1", "by": "10 min"}


def test_a_spreadsheets_mark_semicolons_header_case_and_blank_rows_survive(district):
    text = (
        "\ufeffAlias; SCHOOL ;Room;Devices;When;Checker;Second_Checker\r\n;;;;;;\r\n"
        'Kite;Hollow Road School;12;"both hearing aids, remote mic";10:30;L. Teal;R. Moss\r\n\r\n'
    )
    result = read_sheet(text, district)

    student = result.documents["students"]["hollow-road-1"]
    assert result.problems == ()
    assert student["school"] == "hollow-road"
    assert student["devices"] == ["left hearing-aid", "right hearing-aid", "remote-mic"]
    assert student["routines"]["daily"] == {
        "when": {"at": "10:30"},
        "checker": "l-teal",
        "second": "r-moss",
        "kind": "daily",
    }


def test_a_second_row_of_a_student_adds_a_routine(district):
    header = "alias,school,room,devices,routine,when,checker,days\n"
    text = (
        header
        + "Kite,hollow-road,12,L HA,,08:10,l-teal,\nKite,hollow-road,12,,recheck,12:20,l-teal,mon; wed\n"
    )
    routines = read_sheet(text, district).documents["students"]["hollow-road-1"]["routines"]

    assert list(routines) == ["daily", "recheck"]
    assert routines["recheck"]["days"] == ["mon", "wed"]


def test_errors_name_the_row_and_leave_the_other_rows_alone(district):
    bad = ",Owl,hollow-road,12,L hearing-ade,8:61,l-teel,\n"
    result = read_sheet(HEADER + KITE + "\n" + bad, district)

    assert {p.line for p in result.problems} == {4}
    told = "\n".join(str(p) for p in result.problems)
    assert "sheet:4: 'hearing-ade' is no kind of device" in told
    assert "'8:61' is no time of day" in told
    assert "no person 'l-teel'; did you mean 'l-teal'" in told
    assert list(result.documents["students"]) == ["hollow-road-1"]
    assert [row.effect for row in result.rows] == ["added", "wrong"]


def test_an_alias_taken_in_the_room_is_an_error_of_its_row(district):
    result = read_sheet(HEADER + KITE.replace(",Kite", "s-new,Wren"), district)

    assert "'Wren' already names s-110 in room 12" in str(result.problems[0])


def test_moving_into_a_room_where_the_alias_is_taken_is_an_error_of_the_row(spoiled, good):
    student = good[good.index("  s-110:") :]
    other = student.replace("s-110", "s-a").replace('"12"', '"13"')
    district = spoiled((student, other + student)).district
    result = read_sheet("student,alias,school,room,devices\ns-a,Wren,hollow-road,12,remote-mic\n", district)

    assert "sheet:2: 'Wren' already names s-110 in room 12" in str(result.problems[0])


def test_an_id_that_is_none_is_an_error_of_its_row(district):
    result = read_sheet(HEADER + KITE.replace(",Kite", "Kite W.,Kite", 1), district)

    assert "sheet:2: 'Kite W.' is no id" in str(result.problems[0])
    assert result.documents["students"] == {}


def test_sixty_children_of_a_school_are_read_in_one_go(district):
    rows = "".join(KITE.replace("Kite", f"Kite{n}").replace(",12,", f",{n % 7},") for n in range(60))
    result = read_sheet(HEADER + rows, district)

    assert result.problems == ()
    assert len(result.changes) == 60


def test_what_a_sheet_has_no_column_for_stays(demo):
    devices = "left CI single unit rechargeable; right CI single unit rechargeable"
    text = f"student,alias,school,room,devices\ns-103,Heron,hollow-road,9,{devices}\n"
    result = read_sheet(text, demo.district)

    before = demo.documents["students"]["s-103"]
    assert result.documents["students"]["s-103"] == {**before, "room": "9"}
    assert [str(field) for field in result.changes[0].fields] == ["room: 7 becomes 9"]


def test_students_who_are_not_in_the_sheet_are_not_removed(district):
    assert all(change.kind != "removed" for change in read_sheet(HEADER + KITE, district).changes)


def test_rows_of_one_student_that_disagree_are_an_error(district):
    other = "hollow-road-1,Kite,hollow-road,13,,08:30,l-teal,\n"
    result = read_sheet(HEADER + KITE.replace(",Kite", "hollow-road-1,Kite") + other, district)

    assert "sheet:3: room is '13' here and '12' in row 2" in str(result.problems[0])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "the sheet is empty"),
        ("\n\n", "the sheet is empty"),
        ("alias,school,room\nx,y,z\n", "the column 'devices' is missing"),
        ("alias,alias,school,room,devices\n", "the column 'alias' stands twice"),
        ("alias,school,room,devises\n", "no column 'devises'; did you mean 'devices'"),
        (
            HEADER + ",Kite,hollow-road,12,L HA,08:05,l-teal,r-moss,stray\n",
            "'stray' stands beyond the last column",
        ),
        (HEADER + ',Kite,"' + "x" * 200_000 + '",12,L HA,08:05,l-teal,\n', "the row cannot be read"),
        ("x" * 5_000_001, "larger than 5 MB"),
    ],
)
def test_a_sheet_that_cannot_be_taken_is_told(district, text, said):
    result = read_sheet(text, district)

    assert any(said in str(p) for p in result.problems), result.problems
    assert result.changes == ()


@pytest.mark.parametrize("nickname", ["=1+1", "+1", "-1", "@home", "'quoted", "'=x", "plain"])
def test_no_cell_can_be_taken_for_a_formula_and_none_is_changed_by_that(demo, nickname):
    student = {**demo.documents["students"]["s-110"], "alias": nickname}
    text = write_sheet({"students": {"s-110": student}})

    cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
    assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r")) for cell in cells)
    assert read_sheet(text, demo.district).documents["students"]["s-110"]["alias"] == nickname


@given(text=st.text(max_size=300))
def test_any_text_gives_rows_or_problems(district, text):
    for sheet in (text, HEADER + text):
        result = read_sheet(sheet, district)
        assert all(row.effect != "wrong" for row in result.rows) or result.problems
