"""`bellcheck report` over a lived day, as a district would take it."""

import csv
import json
from pathlib import Path

import pytest

from tests.cli.cli_run import environment, here
from tests.engine.engine_lived import KEY
from tests.engine.lived_houses import file_copy, lived_file

__all__ = ["lived_file"]
DAYS = ("--from", "2026-10-01", "--to", "2026-10-06")


@pytest.fixture
def env(lived_file: Path, tmp_path: Path) -> dict[str, str]:
    return environment(file_copy(lived_file, tmp_path), BELLCHECK_KEY=KEY)


def rows(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(path.open(encoding="utf-8", newline="")))


def test_it_prints_every_school_and_all_together(env: dict[str, str]) -> None:
    ran = here("report", *DAYS, env=env)
    assert ran.code == 0, ran.err
    assert "hollow-road\n  Checks done: 10 of 11: 91 % (49 to 99)\n      of checks expected" in ran.out
    found = {group["group"]: group for group in json.loads(here("report", *DAYS, "--json", env=env).out)}
    assert set(found) == {"hollow-road", "oxbow-green", "peel-lane", "tansy-mill", "total"}
    assert found["total"]["figures"]["done"]["of"] == sum(
        found[s]["figures"]["done"]["of"] for s in found if s != "total"
    )


def test_the_sheets_explain_every_column_and_the_page_stands_by_itself(env: dict[str, str], tmp_path: Path) -> None:
    ran = here("report", *DAYS, "--csv", tmp_path / "out", "--html", tmp_path / "report.html", env=env)
    assert ran.code == 0, ran.err
    explained = {(row["file"], row["column"]) for row in rows(tmp_path / "out" / "dictionary.csv")}
    names = [path.name for path in (tmp_path / "out").glob("*.csv") if path.name != "dictionary.csv"]
    assert sorted(names) == ["faults.csv", "figures.csv", "results.csv", "steps.csv"]
    for name in names:
        assert {(name, column) for column in rows(tmp_path / "out" / name)[0]} <= explained
    text = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "http" not in text
    assert "Larkfield" in text


def test_what_leaves_the_district_has_no_student_no_small_school_and_no_steps(
    env: dict[str, str], tmp_path: Path
) -> None:
    ran = here("report", *DAYS, "--outside", "--csv", tmp_path / "out", env=env)
    assert ran.code == 0, ran.err
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [
        "dictionary.csv", "figures.csv", "results.csv",
    ]  # fmt: skip
    shown = [row for row in rows(tmp_path / "out" / "figures.csv") if row["kept back"] == "no"]
    assert {row["group"] for row in shown} == {"total"}
    assert all(int(row["count"]) >= 10 for row in shown)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (("--school", "nowhere"), "it would be right as one of: hollow-road"),
        (("--student", "nobody"), "no such student"),
        (("--outside", "--student", "s-104"), "leave one out"),
        (("--from", "2026-10-07", "--to", "2026-10-06"), "give the earlier date first"),
        (("--at-least", "0"), "give 1 or more"),
    ],
)
def test_what_cannot_be_is_said_with_what_would_be_right(
    env: dict[str, str], given: tuple[str, ...], said: str
) -> None:
    ran = here("report", *given, env=env)
    assert ran.code == 2
    assert said in ran.err
