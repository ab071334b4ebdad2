"""`bellcheck card`: which cards are written, and what is said where none can be."""

from pathlib import Path

import pytest

from tests.cli.cli_run import DEMO, here
from tests.paper.paper_read import read, words


def test_a_rooms_cards_are_pages_of_one_file_and_an_office_has_its_own(tmp_path: Path) -> None:
    done = here("card", DEMO, "--room", "12", "--out", tmp_path / "room.pdf", env={})
    assert (done.code, done.err) == (0, "")
    pages = read((tmp_path / "room.pdf").read_bytes()).pages
    assert [page.extract_text().split()[0] for page in pages] == ["Wren", "Finch", "Lark"]
    done = here("card", DEMO, "--school", "hollow-road", "--language", "fr", "--out", tmp_path / "office.pdf", env={})
    assert done.code == 0
    assert words((tmp_path / "office.pdf").read_bytes()).startswith("Accueil Hollow Road School")


@pytest.mark.parametrize(
    ("asked", "right"),
    [
        (["--student", "s-999"], "there is no such student"),
        (["--student", "s-110", "--school", "peel-lane"], "there is no such student at peel-lane"),
        (["--room", "99"], "it would be right as one of: 12, 7"),
        (["--school", "nowhere"], "it would be right as one of: hollow-road"),
        (["--room", "12", "--student", "s-110"], "leave one out"),
        ([], "write --student ID, --room ROOM or --school ID"),
    ],
)
def test_what_cannot_be_printed_is_said_with_what_would_be_right(tmp_path: Path, asked: list[str], right: str) -> None:
    done = here("card", DEMO, *asked, "--out", tmp_path / "no.pdf", env={})
    assert done.code == 2
    assert right in done.err
    assert not (tmp_path / "no.pdf").exists()
