"""Whether a student's routines can happen, and whether replies about the student can be understood."""

from service.core.district import Side
from service.setup.build_student import read_device
from service.setup.day_check import judge_routine_day
from service.setup.docs import Documents, View, section
from service.setup.kinds import Path, Reading
from service.setup.problems import suggest

REPLY_WORDS = frozenset({
    "ok", "all", "rest", "both", "left", "right", "l", "r", "yes", "no", "not", "none", "but", "mine", "working",
    "fixed", "away", "help", "undo", "wait", "loaner", "found",
})  # fmt: skip
"""Words that a reply uses for other things, so that an alias that is one of them would be misread."""

TELLING = 3
"""Names of fewer letters are found in an id by chance."""


def judge_students(documents: Documents, to: Reading) -> None:
    """Note what is wrong with the students, one by one and in their rooms."""
    people, schools = section(documents, "people"), section(documents, "schools")
    names: dict[tuple[str, str, str], str] = {}
    for id, student in section(documents, "students").items():
        path: Path = ("students", id)
        if student.has("school") and student.text("school") not in schools:
            wrong = f"{id} is at {student.text('school')!r}, which is no school"
            to.at((*path, "school"), wrong, suggest(student.text("school"), schools, "school"))
        _judge_id(id, student, path, to)
        _judge_alias(student, path, names, to)
        _judge_devices(student, path, to)
        _judge_usual(student, path, to)
        _judge_guardians(student, path, people, to)
        _judge_routines(student, path, people, schools.get(student.text("school")), to)


def _judge_id(id: str, student: View, path: Path, to: Reading) -> None:
    """An id is in logs, keys and sealed entries for good, so it must say nothing about the child."""
    for name in (student.text("alias") if student.has("alias") else "", *student.texts("nicknames")):
        if len(name) >= TELLING and name.casefold() in id.casefold():
            wrong = f"the id {id} holds the name {name!r}, and ids stay in the log and in the record for good"
            to.at(path, wrong, "choose an id that says nothing, as s-101", "warning")
            return


def _judge_alias(student: View, path: Path, names: dict[tuple[str, str, str], str], to: Reading) -> None:
    id = str(path[1])
    if not all(student.has(key) for key in ("alias", "school", "room")):
        return
    for key, name in (
        ("alias", student.text("alias")),
        *(("nicknames", n) for n in student.texts("nicknames")),
    ):
        folded = name.casefold()
        room = (student.text("school"), student.text("room").casefold(), folded)
        other = names.setdefault(room, id)
        if other != id:
            wrong = f"{name!r} already names {other} in room {student.text('room')}"
            to.at((*path, key), wrong, "give one of them another alias: replies tell the two apart by it")
        if folded.isdigit():
            wrong = f"{name!r} is a number, and replies use numbers for the students of a message"
            to.at((*path, key), wrong, "use a word as the alias")
        elif folded in REPLY_WORDS:
            wrong = f"{name!r} means something else in a reply"
            to.at((*path, key), wrong, "use another word as the alias", "warning")


def _judge_devices(student: View, path: Path, to: Reading) -> None:
    devices = [(device.side, device.kind) for device in map(read_device, student.texts("devices"))]
    where = (*path, "devices")
    if len(set(devices)) < len(devices):
        to.at(where, "a device stands twice", "write each device of each side once")
    for side in Side:
        kinds = sorted({kind for worn, kind in devices if worn is side})
        if len(kinds) > 1:
            wrong = f"the {side} side has {' and '.join(kinds)}"
            to.at(where, wrong, "look whether both are worn on one side", "warning")


def _judge_usual(student: View, path: Path, to: Reading) -> None:
    sides = {device.partition(" ")[0] for device in student.texts("devices")} & {"left", "right"}
    for place, stated in enumerate(student.texts("usual")):
        side = stated.partition(" ")[0]
        if side in ("left", "right") and len(sides) < 2:
            wrong = f"{path[1]} has a device on one side only, so nothing is said of the {side} side alone"
            to.at((*path, "usual", place), wrong, "leave the side out")
    if student.items("usual") and not student.has("usual since"):
        wrong = f"{path[1]} has what is usual and no date from which it holds, so no change is watched"
        to.at((*path, "usual"), wrong, "add usual since: with the date on which it was stated", "warning")


def _judge_guardians(student: View, path: Path, people: dict[str, View], to: Reading) -> None:
    for place, id in enumerate(student.texts("guardians")):
        where = (*path, "guardians", place)
        if id not in people:
            to.at(where, f"there is no person {id!r}", suggest(id, people, "person"))
        elif not any(role == "guardian" for role, _ in people[id].pairs("roles")):
            to.at(where, f"{id} is no guardian", f"add the role guardian to {id}, or name somebody else")


def _judge_routines(
    student: View, path: Path, people: dict[str, View], school: View | None, to: Reading
) -> None:
    routines = student.views("routines")
    if not routines and (*path, "routines") not in to.places:
        to.at(
            path,
            f"{path[1]} has no routine and is never checked",
            "add routines: with one of them",
            "warning",
        )
    for name, routine in routines.items():
        where = (*path, "routines", name)
        for key in ("checker", "second"):
            if routine.has(key):
                _judge_adult(routine.text(key), people, (*where, key), to)
        if routine.has("second") and routine.text("second") == routine.maybe("checker"):
            wrong = f"{routine.text('second')} is both checker and second checker"
            to.at((*where, "second"), wrong, "name somebody else, or leave the second checker out")
        if school is not None:
            judge_routine_day(routine, school, where, to)


def _judge_adult(id: str, people: dict[str, View], path: Path, to: Reading) -> None:
    if id not in people:
        to.at(path, f"there is no person {id!r}", suggest(id, people, "person"))
    elif not people[id].items("channels") and ("people", id, "channels") not in to.places:
        to.at(
            path,
            f"{id} cannot be asked: they have no channel",
            f"add channels: to {id}, or name somebody else",
        )
