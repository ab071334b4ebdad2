"""What the general tool leaves alive is named by what it changed, and held against what is known."""

from pathlib import Path

import pytest

from tests.mutation.defects import ROOT
from tests.mutation.general import ROOMS, Change, Room, change, explained, prepare, unexplained

DIFF = """\
# service.core.chains.climb.x__pick__mutmut_7: survived
--- service/core/chains/climb.py
+++ service/core/chains/climb.py
@@ -1,3 +1,3 @@
 def _pick(turn):
-    reason = "no_channel"
+    reason = None
     return reason
"""


def test_a_survivor_is_named_by_its_function_and_the_lines_it_changes() -> None:
    assert change("service.core.chains.climb.x__pick__mutmut_7", DIFF) == Change(
        "chains.climb._pick", 'reason = "no_channel"', "reason = None"
    )
    assert change("service.core.notices.xǁNoticeǁholds__mutmut_1", DIFF).where == "notices.Notice.holds"


def test_a_line_that_is_gone_is_replaced_by_nothing() -> None:
    gone = DIFF.replace("+    reason = None\n", "")

    assert change("service.core.chains.climb.x__pick__mutmut_7", gone).becomes == ""


def test_what_is_no_change_of_the_core_is_refused() -> None:
    with pytest.raises(ValueError, match="not a mutant of the core"):
        change("service.store.base.x_open__mutmut_1", DIFF)


def test_only_what_nobody_has_explained_is_new() -> None:
    known = Change("chains.climb._pick", "a", "b")
    new = Change("chains.climb._pick", "a", "c")

    assert unexplained([known, new, known], {known: "it is the same"}) == [new]


@pytest.mark.parametrize("survivor", explained(), ids=str)
def test_an_explained_survivor_still_stands_in_its_file(survivor: Change) -> None:
    module = survivor.where.split(".")
    files = [ROOT / "service/core" / f"{'/'.join(module[:n])}.py" for n in range(1, len(module))]
    (text,) = [" ".join(f.read_text(encoding="utf-8").split()) for f in files if f.exists()]

    assert " ".join(survivor.was.split()) in text
    assert survivor.was != survivor.becomes


@pytest.mark.parametrize("name", ROOMS)
def test_every_room_has_files_and_tests(name: str) -> None:
    room: Room = ROOMS[name]
    for pattern in (*room.files, *room.tests):
        assert list(ROOT.glob(pattern)), pattern


def test_the_tool_is_told_what_to_change_and_which_tests_to_run(tmp_path: Path) -> None:
    prepare(tmp_path, ROOMS["checks"])
    told = (tmp_path / "pyproject.toml").read_text(encoding="utf-8")

    assert "only_mutate = ['service/core/checks.py']" in told
    assert "pytest_add_cli_args_test_selection = ['tests/core/test_checks.py']" in told
