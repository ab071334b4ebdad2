"""Each defect fits one place of the service as it is today, and is told from the others by its name."""

from pathlib import Path

import pytest

from tests.mutation.defects import DEFECTS, ROOT, Defect
from tests.mutation.suite import BROAD, TIMED, WHOLE, first_failure, is_there, parts_for, tried


@pytest.mark.parametrize("defect", DEFECTS, ids=lambda d: d.name)
def test_a_defect_changes_one_place_of_a_file_that_still_compiles(defect: Defect) -> None:
    text = (ROOT / defect.file).read_text(encoding="utf-8")
    changed = defect.planted(text)
    assert changed != text
    compile(changed, defect.file, "exec")


def test_there_are_thirty_or_more_each_with_a_name_of_its_own() -> None:
    assert len({d.name for d in DEFECTS}) == len(DEFECTS) >= 30


def test_the_first_check_that_fails_is_named(tmp_path: Path) -> None:
    (tmp_path / "pyproject.toml").write_text("[tool.pytest.ini_options]\n")
    (tmp_path / "test_it.py").write_text("def test_holds():\n    pass\n\ndef test_breaks():\n    assert 0\n")
    assert first_failure(tmp_path, ["test_it.py"], 60)[0] == "test_it.py::test_breaks"
    (tmp_path / "test_it.py").write_text("def test_holds():\n    pass\n")
    assert first_failure(tmp_path, ["test_it.py"], 60)[0] is None


def test_what_does_not_load_objects_and_what_takes_too_long_does_not(tmp_path: Path) -> None:
    (tmp_path / "pyproject.toml").write_text("[tool.pytest.ini_options]\n")
    (tmp_path / "test_it.py").write_text("import nothing_of_this_name\n")
    assert first_failure(tmp_path, ["test_it.py"], 60)[0] == "test_it.py"
    (tmp_path / "test_it.py").write_text("def test_turns():\n    while True:\n        pass\n")
    found, took = first_failure(tmp_path, ["test_it.py"], 3)
    assert found is None
    assert took > 2


def _in(file: str, *near: str) -> Defect:
    return Defect("a made one", file, "", "", near)


def test_the_parts_begin_with_what_lies_nearest_to_the_defect_and_leave_nothing_out() -> None:
    chains = parts_for(_in("service/core/chains/climb.py"))
    postman = parts_for(_in("service/engine/postman.py"))

    assert "tests/core/test_chains_climb.py" in chains[0]
    assert chains[1:] == WHOLE
    assert parts_for(_in("service/engine/scenes.py"))[0] == ("tests/engine/test_engine_scenes.py",)
    assert postman[:2] == (BROAD, ("tests/engine", "-m", "not postgres"))
    assert sorted(postman[1:]) == sorted(WHOLE)


def test_the_tests_that_a_defect_names_come_before_all_others() -> None:
    test = "tests/engine/test_engine_lanes.py::test_a"

    assert parts_for(_in("service/engine/scenes.py", test)) == (
        (test, "-m", "not postgres"),
        *parts_for(_in("service/engine/scenes.py")),
    )


@pytest.mark.parametrize("test", [*TIMED, *(test for defect in DEFECTS for test in defect.near)])
def test_a_test_that_is_named_is_there(test: str) -> None:
    assert is_there(test)


@pytest.mark.parametrize("test", ["test_it.py::test_gone", "gone.py::test_it"])
def test_a_defect_that_names_a_test_which_is_gone_gets_no_verdict(tmp_path: Path, test: str) -> None:
    (tmp_path / "test_it.py").write_text("def test_it():\n    pass\n")

    with pytest.raises(ValueError, match=f"names tests that are not there: {test}"):
        tried(tmp_path, _in("service/engine/scenes.py", test))
