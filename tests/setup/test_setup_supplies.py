"""Shelves of supplies in the folder: what is wrong is said with its line and what would be right."""

from pathlib import Path

import pytest

from service.core.supplies.cells import life_days
from service.core.supplies.items import Batch, Item, Kind, Use
from service.setup import load

DEMO = Path(__file__).parents[2] / "config_demo"


def shelves(tmp_path: Path, **changed: str) -> Path:
    """The demonstration folder with other words in its shelves, by the words they replace."""
    for file in DEMO.rglob("*.yaml"):
        to = tmp_path / file.relative_to(DEMO)
        to.parent.mkdir(parents=True, exist_ok=True)
        to.write_text(file.read_text(encoding="utf-8"), encoding="utf-8")
    path = tmp_path / "supplies.yaml"
    text = path.read_text(encoding="utf-8")
    for old, new in changed.items():
        assert old in text
        text = text.replace(old, new, 1)
    path.write_text(text, encoding="utf-8")
    return tmp_path


def test_a_shelf_of_the_demo_is_built_with_its_use_its_owner_and_how_long_one_lasts() -> None:
    district = load(DEMO, {}).district
    assert district is not None
    cells, cable = district.supplies["road-13"], district.supplies["road-cable"]
    assert cells.counted.item == Item(Kind.CELL, "13", Use.ORDINARY)
    assert [b.count for b in cells.counted.batches] == [6, 2]
    assert cells.lasts == life_days(310, 1.5)
    assert (cells.lead, cells.pack) == (10, 6)
    assert cable.counted.batches == (Batch(1),)
    assert (cable.counted.place.owner, cable.lasts) == ("s-110", 130)


@pytest.mark.parametrize(
    ("old", "new", "wrong", "right"),
    [
        ("use: ordinary ", "", "a cell does not say what it is for", "use: implant"),
        ('size: "13" ', 'size: "14" ', "'14' is no size", "10, 312, 13, 675"),
        ("draws: 1.5 mA", "pack: 6", "", ""),
        ("draws: 1.5 mA", "draws: 1500", "'1500' is no current", "1.5 mA"),
        ("6 until 2028-03-01", "six", "'six' is no number of pieces", "24 until 2027-03-01"),
        ("[s-102]", "[s-999]", "no student 's-999'", ""),
        ("[s-110]", "[s-110, s-102]", "one child, and several are named", "a shelf for each family"),
        ("kind: cable", "kind: cabel", "'cabel' is no kind of supply", "did you mean 'cable'?"),
        ("lasts: 130 days", "lasts: 0 days", "0 days is no time", "1 day or more"),
        ("lasts: 130 days", "use: implant", "a cable has no use", "take the key out"),
    ],
)
def test_what_is_wrong_with_a_shelf_is_said(tmp_path: Path, old: str, new: str, wrong: str, right: str) -> None:
    problems = [p for p in load(shelves(tmp_path, **{old: new}), {}).problems if p.file.endswith("supplies.yaml")]
    assert problems
    assert any(wrong in p.wrong and right in p.right for p in problems), [str(p) for p in problems]
    assert all(p.line > 1 for p in problems)


def test_one_supply_of_one_place_stands_on_one_shelf(tmp_path: Path) -> None:
    folder = shelves(tmp_path)
    text = (folder / "supplies.yaml").read_text(encoding="utf-8")
    begin = text.index("  road-13:")
    again = text[begin : text.index("  road-cable:")].replace("road-13:", "road-more:")
    (folder / "supplies.yaml").write_text(text + again, encoding="utf-8")
    assert any("same supply at the same place" in p.wrong for p in load(folder, {}).problems)
