"""Loaners in the folder: whose settings are in them, and what is wrong said with its line and what would be right."""

from pathlib import Path

import pytest

from service.core.district import DeviceKind, Loaner, Side
from service.setup import load

DEMO = Path(__file__).parents[2] / "config_demo"


def changed(tmp_path: Path, old: str, new: str) -> Path:
    """The demonstration folder with other words in its loaners."""
    for file in DEMO.rglob("*.yaml"):
        to = tmp_path / file.relative_to(DEMO)
        to.parent.mkdir(parents=True, exist_ok=True)
        to.write_text(file.read_text(encoding="utf-8"), encoding="utf-8")
    path = tmp_path / "loaners.yaml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return tmp_path


def test_the_loaners_of_the_demo_are_built_with_the_child_they_are_set_for() -> None:
    district = load(DEMO, {}).district
    assert district is not None
    grey = district.loaners["road-grey"]
    assert (grey.kind, grey.side, grey.set_for) == (DeviceKind.COCHLEAR_IMPLANT, Side.LEFT, "s-110")
    assert district.loaners["road-mic"] == Loaner(
        "road-mic", "hollow-road", DeviceKind.REMOTE_MIC, "microphone, drawer 2"
    )


@pytest.mark.parametrize(
    ("old", "new", "wrong", "right"),
    [
        ("school: hollow-road", "school: hollow-rode", "'hollow-rode', which is no school", "hollow-road"),
        ("set for: s-110", "set for: s-111", "no student 's-111'", "s-110"),
        ("set for: s-110", "set for: s-102", "s-102 wears none", "the student whose settings are in it"),
        ("kind: cochlear-implant", "kind: remote-mic", "holds no settings of a child", "take the key out"),
        ("kind: cochlear-implant", "kind: processor", "kind of device", "cochlear-implant"),
        ("side: left", "side: both", "side", "left"),
    ],
)
def test_what_is_wrong_with_a_loaner_is_said(
    tmp_path: Path, old: str, new: str, wrong: str, right: str
) -> None:
    folder = changed(tmp_path, old, new)
    problems = [p for p in load(folder, {}).problems if p.file.endswith("loaners.yaml")]
    assert any(wrong in p.wrong and right in p.right for p in problems), [str(p) for p in problems]
    assert all(p.line > 1 for p in problems)
