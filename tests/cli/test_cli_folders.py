"""The verbs on a configuration folder: exit codes, where a message points, and what they print."""

import json
import re
import shutil
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import pytest

from tests.cli.cli_run import DEMO, REPOSITORY, bellcheck

DAY = "2026-11-23"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the demo folder that a test may spoil."""
    return Path(shutil.copytree(DEMO, tmp_path / "district"))


def test_a_new_folder_passes_its_own_check_and_a_second_one_is_not_written_over_it(tmp_path: Path) -> None:
    assert bellcheck("new", tmp_path / "mine").code == 0
    assert bellcheck("check-config", tmp_path / "mine").code == 0
    again = bellcheck("new", tmp_path / "mine")
    assert again.code == 2
    assert "not empty" in again.err


def test_a_wrong_folder_is_told_by_file_and_line_and_every_verb_that_needs_it_stops(folder: Path) -> None:
    students = folder / "students.yaml"
    students.write_text(students.read_text("utf-8").replace("checker: l-teal", "checker: l-teel", 1), "utf-8")
    for verb in (("check-config", folder), ("day", folder, "--date", DAY), ("students", "out", folder)):
        ran = bellcheck(*verb)
        assert ran.code == 2
        assert re.search(rf"^{re.escape(str(students))}:\d+: .*l-teel.*; .*l-teal", ran.err, re.MULTILINE)
        assert "Traceback" not in ran.err


def test_problems_come_as_json_for_programs(folder: Path) -> None:
    (folder / "more.yaml").write_text("schoools:\n", "utf-8")
    ran = bellcheck("check-config", folder, "--json")
    assert ran.code == 2
    (problem,) = json.loads(ran.out)
    assert (problem["line"], problem["severity"]) == (1, "error")


def test_a_folder_that_is_not_there_is_one_plain_line(tmp_path: Path) -> None:
    ran = bellcheck("check-config", tmp_path / "nowhere")
    assert ran.code == 2
    assert "no such folder" in ran.err
    assert "Traceback" not in ran.err


def test_a_day_tells_each_round_with_its_offset_and_who_is_told_when(folder: Path) -> None:
    page = bellcheck("day", folder, "--date", DAY, "--school", "hollow-road").out
    assert "08:05 -06:00  L. Teal is asked about 3:" in page
    assert "08:15  R. Moss (second checker) is told, has until 08:20" in page
    assert "15:00  the day ends: recorded as unanswered" in page
    assert page.index("Messages per person") > page.index("R. Moss")


def test_a_day_warns_of_more_messages_than_anybody_reads(folder: Path) -> None:
    assert (
        "warning: on a bad morning somebody gets more than 6" in bellcheck("day", folder, "--date", DAY).out
    )


def test_a_day_as_json_has_every_instant_with_its_offset(folder: Path) -> None:
    day = json.loads(bellcheck("day", folder, "--date", DAY, "--json").out)
    rounds = [r for school in day["schools"] for r in school["rounds"]]
    assert rounds
    for r in rounds:
        instants = [r["due"], *(h["at"] for h in r["unanswered"])]
        parsed = [datetime.fromisoformat(at) for at in instants]
        assert all(at.utcoffset() is not None for at in parsed)
        assert parsed == sorted(parsed)
        assert r["unanswered"][0]["what"] == "asked"


def test_a_day_without_school_says_why(folder: Path) -> None:
    ran = bellcheck("day", folder, "--date", "2026-11-22", "--school", "hollow-road")
    assert ran.code == 0
    assert "No school: no school on Sundays. Nobody is asked." in ran.out


def test_a_school_that_is_not_there_gets_the_nearest_name(folder: Path) -> None:
    ran = bellcheck("day", folder, "--date", DAY, "--school", "hollow-rd")
    assert ran.code == 2
    assert "hollow-road" in ran.err


def test_a_day_needs_no_web_framework_and_no_scheduler() -> None:
    asked = f"import sys; from service.cli import main; main(['day', {str(DEMO)!r}, '--date', '{DAY}']); "
    names = "fastapi starlette uvicorn apscheduler sqlalchemy httpx smtplib psycopg"
    code = asked + f"print([n for n in {names.split()} if n in sys.modules])"
    ran = subprocess.run(
        [sys.executable, "-c", code], cwd=REPOSITORY, capture_output=True, text=True, check=True
    )
    assert ran.stdout.splitlines()[-1] == "[]"


def test_students_go_out_and_in_again_without_a_change_and_a_changed_cell_is_shown_first(
    folder: Path, tmp_path: Path
) -> None:
    sheet = tmp_path / "students.csv"
    sheet.write_text(bellcheck("students", "out", folder).out, "utf-8")
    same = bellcheck("students", "in", folder, sheet, "--preview")
    assert same.code == 0
    assert "0 students change" in same.out
    sheet.write_text(sheet.read_text("utf-8").replace(",Wren,", ",Dove,"), "utf-8")
    assert "Wren becomes Dove" in bellcheck("students", "in", folder, sheet, "--preview").out
    assert "Wren" in (folder / "students.yaml").read_text("utf-8")
    assert bellcheck("students", "in", folder, sheet, "--yes").code == 0
    assert bellcheck("check-config", folder).code == 0
    assert "Dove" in bellcheck("students", "out", folder).out
    assert "Wren" in (folder / "students.yaml.before").read_text("utf-8")


def test_a_wrong_row_of_a_sheet_is_told_by_its_number_and_nothing_is_written(
    folder: Path, tmp_path: Path
) -> None:
    sheet = tmp_path / "students.csv"
    sheet.write_text(bellcheck("students", "out", folder).out.replace(",l-teal,", ",l-teel,", 1), "utf-8")
    ran = bellcheck("students", "in", folder, sheet, "--yes")
    assert ran.code == 2
    assert f"{sheet}:2: " in ran.err
    assert not (folder / "students.yaml.before").exists()


def test_a_reply_is_read_offline_and_a_file_of_replies_line_by_line(tmp_path: Path) -> None:
    one = bellcheck("read-reply", "1", "cable", "--student", "Wren:left cochlear-implant")
    assert one.out.startswith("1 Wren: fault CABLE left")
    device = [{"kind": "hearing-aid", "side": "left"}]
    case = {"id": "a", "audience": "checker", "students": [{"number": 1, "alias": "Wren", "devices": device}]}
    file = tmp_path / "cases.jsonl"
    file.write_text(json.dumps({**case, "text": "ok"}) + "\n" + json.dumps({**case, "text": "not ok"}) + "\n")
    good, bad = map(json.loads, bellcheck("read-reply", "--batch", file).out.splitlines())
    assert good["outcomes"] == {"1": {"result": "working", "faults": []}}
    assert (bad["outcomes"], bad["ask"]) == ({}, True)


def test_a_score_that_finds_false_good_news_is_a_problem(tmp_path: Path) -> None:
    device = [{"kind": "hearing-aid", "side": "left"}]
    nothing = {"outcomes": {}, "command": None, "minutes": None, "ask": True}
    case = {
        "id": "a", "audience": "checker", "students": [{"number": 1, "alias": "Wren", "devices": device}],
        "text": "ok", "expect": nothing,
    }  # fmt: skip
    file = tmp_path / "cases.jsonl"
    file.write_text(json.dumps(case))
    ran = bellcheck("read-reply", "--batch", file, "--score")
    assert ran.code == 1
    assert "a: read as better news than it is" in ran.out


def test_scores_are_told_by_category_and_by_language_over_several_files(tmp_path: Path) -> None:
    device = [{"kind": "hearing-aid", "side": "left"}]
    good = {"outcomes": {"1": {"result": "working", "faults": []}}, "command": None, "minutes": None, "ask": False}
    case = {"audience": "checker", "students": [{"number": 1, "alias": "Wren", "devices": device}], "expect": good}
    files = [tmp_path / "one.jsonl", tmp_path / "two.jsonl"]
    files[0].write_text(json.dumps({**case, "id": "a", "category": "plain", "text": "ok"}))
    files[1].write_text(json.dumps({**case, "id": "b", "category": "odd", "text": "funciona quizas"}))
    given = ("read-reply", "--batch", files[0], "--batch", files[1], "--score")
    ran = bellcheck(*given)
    assert ran.code == 0
    assert [line.split()[:5] for line in ran.out.splitlines()[1:6]] == [
        ["odd", "1", "1", "0", "0.0"], ["plain", "1", "1", "1", "100.0"], ["en", "1", "1", "1", "100.0"],
        ["es", "1", "1", "0", "0.0"], ["all", "2", "2", "1", "50.0"],
    ]  # fmt: skip
    assert "read otherwise: b" in ran.out
    values = json.loads(bellcheck(*given, "--json").out)
    assert values["total"]["needless"] == 1
    assert values["otherwise"] == ["b"]


def test_a_line_that_is_no_case_is_told_by_its_number(tmp_path: Path) -> None:
    file = tmp_path / "cases.jsonl"
    file.write_text("{}\n")
    ran = bellcheck("read-reply", "--batch", file)
    assert ran.code == 2
    assert ran.err.startswith(f"{file}:1: ")


def test_a_rehearsal_prints_lines_for_programs_and_a_bad_script_is_told_by_line(tmp_path: Path) -> None:
    script = tmp_path / "script.yaml"
    script.write_text('until: "08:30"\nevents:\n  - {at: "08:06", says: {person: l-teal, text: "ok"}}\n')
    ran = bellcheck("rehearse", DEMO, "--date", DAY, "--script", script, "--json")
    lines = [json.loads(line) for line in ran.out.splitlines()]
    assert (ran.code, lines[-1]["kind"]) == (0, "end")
    script.write_text("events:\n  - {at: nine, says: {person: l-teal, text: ok}}\n")
    bad = bellcheck("rehearse", DEMO, "--date", DAY, "--script", script)
    assert bad.code == 2
    assert bad.err.startswith(f"{script}:2: ")


@pytest.mark.parametrize("given", [["dey"], ["day"], ["serve", "--no-such"], []])
def test_what_cannot_be_understood_is_exit_code_two(given: list[str]) -> None:
    ran = bellcheck(*given)
    assert ran.code == 2
    assert "Traceback" not in ran.err


def test_help_names_every_verb_in_one_line_each() -> None:
    text = bellcheck("--help").out
    for verb in ("new", "check-config", "apply", "export", "students", "day", "read-reply", "rehearse", "serve",
                 "try", "notice", "record", "health", "preflight", "verify", "backup", "version"):  # fmt: skip
        assert re.search(rf"^  {verb} +\S", text, re.MULTILINE)
