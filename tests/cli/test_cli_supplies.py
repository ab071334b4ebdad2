"""`bellcheck supplies` over a lived day."""

import csv
import json
from pathlib import Path

import pytest

from tests.cli.cli_run import environment, here
from tests.engine.engine_lived import KEY
from tests.engine.lived_houses import file_copy, lived_file

__all__ = ["lived_file"]


@pytest.fixture
def env(lived_file: Path, tmp_path: Path) -> dict[str, str]:
    return environment(file_copy(lived_file, tmp_path), BELLCHECK_KEY=KEY)


def test_shelves_are_told_in_words_and_orders_come_as_a_sheet(env: dict[str, str], tmp_path: Path) -> None:
    told = here("supplies", env=env)
    assert told.code == 0, told.err
    assert "hollow-road, cell 13 ordinary (road-13): " in told.out
    assert "s-110's own" in told.out
    found = json.loads(here("supplies", "--json", env=env).out)
    assert [shelf["shelf"] for shelf in found] == ["road-13", "road-cable"]
    assert here("supplies", "--order", tmp_path / "order.csv", env=env).code == 0
    rows = list(csv.DictReader((tmp_path / "order.csv").open(encoding="utf-8", newline="")))
    assert [row["shelf"] for row in rows] == [shelf["shelf"] for shelf in found if shelf["order"]]
    wrong = here("supplies", "--school", "nowhere", env=env)
    assert wrong.code == 2
    assert "it would be right as one of" in wrong.err
