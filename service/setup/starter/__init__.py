"""A small commented configuration to begin with."""

from importlib.resources import files
from pathlib import Path

FIRST_YEAR = 2026
_FILES = ("district.yaml", "channels.yaml", "people.yaml", "chains.yaml", "school.yaml", "students.yaml")


def new(folder: Path, first_year: int = FIRST_YEAR) -> tuple[Path, ...]:
    """Write the starter into `folder`, for the school year that begins in `first_year`; the files written.

    Raises FileExistsError where the folder already holds something, so that nothing is written over.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise FileExistsError(f"{folder} is not empty: give a folder that is empty or not there yet")
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name in _FILES:
        text = files(__name__).joinpath(name).read_text("utf-8")
        text = text.replace(f"{FIRST_YEAR + 1}-", f"{first_year + 1}-").replace(
            f"{FIRST_YEAR}-", f"{first_year}-"
        )
        path = folder / name
        path.write_text(text, encoding="utf-8", newline="\n")
        written.append(path)
    return tuple(written)
