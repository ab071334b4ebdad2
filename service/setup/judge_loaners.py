"""Whether loaners lie at a school and are set for a student that there are, and for a device that the student has."""

from service.core.devices import WORN
from service.setup.docs import Documents, View, section
from service.setup.kinds import Path, Reading
from service.setup.problems import suggest


def judge_loaners(documents: Documents, to: Reading) -> None:
    """Note what is wrong with the loaners."""
    schools, students = section(documents, "schools"), section(documents, "students")
    for id, loaner in section(documents, "loaners").items():
        path: Path = ("loaners", id)
        if loaner.has("school") and loaner.text("school") not in schools:
            wrong = f"{id} lies at {loaner.text('school')!r}, which is no school"
            to.at((*path, "school"), wrong, suggest(loaner.text("school"), schools, "school"))
        if loaner.has("set for"):
            _judge_set_for(id, loaner, students, to)


def _judge_set_for(id: str, loaner: View, students: dict[str, View], to: Reading) -> None:
    where: Path = ("loaners", id, "set for")
    student = loaner.text("set for")
    if student not in students:
        to.at(where, f"there is no student {student!r}", suggest(student, students, "student"))
        return
    if not loaner.has("kind"):
        return
    kind = loaner.text("kind")
    if kind not in {worn.value for worn in WORN}:
        to.at(where, f"a {kind} holds no settings of a child", "take the key out; it may go to any class")
    elif not any(kind in device.split() for device in students[student].texts("devices")):
        wrong = f"{id} is a {kind}, and {student} wears none"
        to.at(where, wrong, "name the student whose settings are in it, or write the kind that it is")
