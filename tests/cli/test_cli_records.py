"""Holding, forgetting and proving as whoever keeps the machine does them, each by a process of its own."""

import json
from pathlib import Path

import pytest

from tests.cli.cli_run import bellcheck, environment
from tests.engine.engine_lived import KEY
from tests.engine.lived_houses import file_copy, lived_file

__all__ = ["lived_file"]

STUDENT, ALIAS = "s-104", "Lark"


@pytest.fixture
def env(lived_file: Path, tmp_path: Path) -> dict[str, str]:
    """A day and a morning that were lived."""
    return environment(file_copy(lived_file, tmp_path), BELLCHECK_KEY=KEY)


def without(env: dict[str, str], folder: Path) -> None:
    """Take the student out of the folder, as a coordinator would."""
    assert bellcheck("export", folder, env=env).code == 0
    path = folder / "students" / "hollow-road.yaml"
    text = path.read_text()
    begin = text.index(f"  {STUDENT}:")
    rest = text[begin + 3 :]
    end = begin + 3 + rest.index("\n  s-") + 1
    path.write_text(text[:begin] + text[end:])
    ran = bellcheck("apply", folder, "--yes", "--by", "c-reed", env=env)
    assert ran.code == 0, ran.err


def database(tmp_path: Path) -> bytes:
    return b"".join(path.read_bytes() for path in tmp_path.glob("bellcheck.db*"))


def test_a_student_who_left_is_forgotten_only_when_nothing_holds_them_and_the_record_still_proves(
    env: dict[str, str], tmp_path: Path
) -> None:
    still_here = bellcheck("forget", "--student", STUDENT, env=env)
    assert (still_here.code, "Traceback" in still_here.err) == (1, False)
    without(env, tmp_path / "folder")

    assert bellcheck("hold", STUDENT, env=env).code == 2, "a hold needs its reason"
    assert bellcheck("hold", STUDENT, "--reason", "a letter of October", "--by", "c-reed", env=env).code == 0
    assert bellcheck("hold", STUDENT, "--inspection", "--reason", "asked to see it", env=env).code == 0
    assert [held["why"] for held in json.loads(bellcheck("hold", "--json", env=env).out)] == [
        "inspection request",
        "legal hold",
    ]
    refused = bellcheck("forget", "--student", STUDENT, "--yes", "--json", env=env)
    assert (refused.code, "hold" in json.loads(refused.out)["refused"]) == (1, True)

    assert bellcheck("hold", STUDENT, "--release", env=env).code == 0
    assert bellcheck("forget", "--student", STUDENT, "--yes", env=env).code == 1, "the request is still open"
    assert bellcheck("hold", STUDENT, "--release", "--inspection", env=env).code == 0
    assert bellcheck("hold", STUDENT, "--release", env=env).code == 1, "there is none any more"
    assert "Nothing is held." in bellcheck("hold", env=env).out

    counted = json.loads(bellcheck("forget", "--student", STUDENT, "--json", env=env).out)
    assert (counted["done"], counted["counts"]["checks"] > 0) == (False, True)
    assert ALIAS.encode() in database(tmp_path)
    done = json.loads(bellcheck("forget", "--student", STUDENT, "--yes", "--json", env=env).out)
    assert (done["done"], done["swept"]) == (True, True)
    assert done["counts"] == counted["counts"]
    assert f'"alias": "{ALIAS}"'.encode() not in database(tmp_path)
    ran = bellcheck("verify", env=env)
    assert (ran.code, "personal values are forgotten" in ran.out) == (0, True)


def test_what_is_old_enough_is_forgotten_by_the_years_of_the_folder_and_by_no_senseless_number(
    env: dict[str, str],
) -> None:
    young = json.loads(bellcheck("forget", "--before", "--json", env=env).out)
    assert (young["done"], sum(young["counts"].values())) == (False, 0)
    assert bellcheck("forget", "--before", "-1", env=env).code == 2
    assert bellcheck("forget", env=env).code == 2


def test_a_head_that_was_kept_stands_until_somebody_rewrites_what_it_covers(
    env: dict[str, str], tmp_path: Path
) -> None:
    assert bellcheck("backup", tmp_path / "kept.db", env=env).code == 0
    head = json.loads((tmp_path / "kept.db.head").read_text())["head"]
    stands = bellcheck("verify", "--head", head, env=env)
    assert (stands.code, "still stands as it stood then" in stands.out) == (0, True)
    for wrong, why in ((f"99{head}", "was cut off"), (f"{head}0", "was rewritten"), ("no head", "it is no head")):
        ran = bellcheck("verify", "--head", wrong, env=env)
        assert (ran.code, why in ran.out) == (1, True), wrong
    assert bellcheck("verify", "--head", head, "--date", "2026-10-05", env=env).code == 2


def test_one_day_is_counted_without_what_was_forgotten_of_others(env: dict[str, str], tmp_path: Path) -> None:
    def day(date: str) -> tuple[int, int, int]:
        ran = bellcheck("verify", "--date", date, "--json", env=env)
        found = json.loads(ran.out)
        return ran.code, found["streams"], found["entries"]

    monday, sunday = day("2026-10-05"), day("2026-10-04")
    assert (monday[0], monday[1], sunday) == (0, 4, (0, 0, 0))
    without(env, tmp_path / "folder")
    assert bellcheck("forget", "--student", STUDENT, "--yes", env=env).code == 0
    assert day("2026-10-05")[:2] == (0, 4)
    assert day("2026-10-04") == (0, 0, 0)
