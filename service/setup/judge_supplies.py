"""Whether shelves of supplies name what there is, and nothing is counted together that must not be."""

from service.core.supplies.cells import SIZES
from service.core.supplies.items import Kind
from service.setup.docs import Documents, View, section
from service.setup.kinds import Path, Reading
from service.setup.problems import suggest


def judge_supplies(documents: Documents, to: Reading) -> None:
    """Note what is wrong with the shelves."""
    schools, students = section(documents, "schools"), section(documents, "students")
    people = section(documents, "people")
    shelves: dict[tuple[str, ...], str] = {}
    for id, shelf in section(documents, "supplies").items():
        path: Path = ("supplies", id)
        if shelf.has("school") and shelf.text("school") not in schools:
            wrong = f"{id} lies at {shelf.text('school')!r}, which is no school"
            to.at((*path, "school"), wrong, suggest(shelf.text("school"), schools, "school"))
        _judge_item(shelf, path, to)
        _judge_users(shelf, path, students, to)
        _judge_keepers(shelf, path, people, to)
        owner = shelf.texts("students") if shelf.flag("family") else ()
        same = (*(shelf.text(key) for key in ("school", "kind", "size", "use")), *owner)
        if shelves.setdefault(same, id) != id:
            wrong = f"{id} is the same supply at the same place as {shelves[same]}"
            to.at(path, wrong, "count them on one shelf")


def _judge_item(shelf: View, path: Path, to: Reading) -> None:
    is_cell = shelf.text("kind") == Kind.CELL.value
    if is_cell and shelf.has("size") and shelf.text("size") not in SIZES:
        wrong = f"{shelf.text('size')!r} is no size of a hearing-aid cell"
        to.at((*path, "size"), wrong, f"use one of: {', '.join(SIZES)}")
    if is_cell and not shelf.has("use"):
        right = "write use: ordinary or use: implant; an ordinary cell may not carry an implant's processor"
        to.at(path, "a cell does not say what it is for", right)
    if not is_cell and shelf.has("use"):
        to.at((*path, "use"), f"a {shelf.text('kind')} has no use", "take the key out; it tells cells apart")
    if not (shelf.has("lasts") or (is_cell and shelf.has("draws"))):
        draws = ", or draws: 1.5 mA" if is_cell else ""
        to.at(path, "nothing says how long one lasts", f"write lasts: 10 days{draws}; the record takes over later")
    if any(shelf.text(key) in ("0 days", "0 day") for key in ("lasts", "delivery")):
        to.at(path, "0 days is no time", "write 1 day or more")


def _judge_users(shelf: View, path: Path, students: dict[str, View], to: Reading) -> None:
    where = (*path, "students")
    named = shelf.texts("students")
    for id in named:
        if id not in students:
            to.at(where, f"there is no student {id!r}", suggest(id, students, "student"))
        elif shelf.has("school") and students[id].text("school") != shelf.text("school"):
            wrong = f"{id} is not at {shelf.text('school')}"
            to.at(where, wrong, "name students of the school where it lies")
    if shelf.has("students") and not named:
        to.at(where, "nobody uses it", "name at least one student")
    if shelf.flag("family") and len(named) > 1:
        wrong = "a family's own spares serve one child, and several are named"
        to.at(where, wrong, "write a shelf for each family, or take family out")


def _judge_keepers(shelf: View, path: Path, people: dict[str, View], to: Reading) -> None:
    for id in shelf.texts("keepers"):
        if id not in people:
            to.at((*path, "keepers"), f"there is no person {id!r}", suggest(id, people, "person"))
