"""Each defect fits one place of the service as it is today, and is told from the others by its name."""

from pathlib import Path

import pytest

from tests.mutation.defects import DEFECTS, ROOT, Defect
from tests.mutation.suite import first_failure


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
    assert first_failure(tmp_path, ["test_it.py"], 60) == "test_it.py::test_breaks"
    (tmp_path / "test_it.py").write_text("def test_holds():\n    pass\n")
    assert first_failure(tmp_path, ["test_it.py"], 60) is None
