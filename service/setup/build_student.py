"""Students, from stored documents to the values of the core and back."""

from sys import intern

from service.core.district import (
    ChainChoice,
    Device,
    DeviceKind,
    Form,
    Power,
    Routine,
    Side,
    Stated,
    Student,
    When,
)
from service.setup.build_school import choice_of
from service.setup.docs import View
from service.setup.phrases import split_bell
from service.setup.values import (
    WEEKDAYS,
    read_date,
    read_duration,
    read_time,
    write_duration,
    write_time,
)

SIDES = tuple(side.value for side in Side)
POWERS = tuple(power.value for power in Power)
ALIKE = ("school", "room", "devices", "routines", "chains")
"""What many students of a room have in common."""


class Students:
    """Builds students one after another, with one value for what many of them have alike: the children of a
    room share their checker's routine, and a large district fits into a fraction of the memory.
    """

    def __init__(self) -> None:
        self._known: dict[str, Student] = {}

    def build(self, id: str, document: View) -> Student:
        """A student of a stored document."""
        get = document.of.get
        written = repr([get(key) for key in ALIKE])
        like = self._known.get(written)
        if like is None:
            like = self._known[written] = self._first(id, document)
        return Student(
            id=id,
            alias=document.text("alias"),
            school=like.school,
            room=like.room,
            devices=like.devices,
            routines=like.routines,
            guardians=document.texts("guardians") if document.has("guardians") else (),
            chains=like.chains,
            nicknames=document.texts("nicknames") if document.has("nicknames") else (),
            usual=tuple(_usual(text) for text in document.texts("usual")) if document.has("usual") else (),
            usual_since=read_date(document.text("usual since")) if document.has("usual since") else None,
            lights=document.texts("lights") if document.has("lights") else (),
            wishes=document.texts("family first") if document.has("family first") else (),
        )

    def _first(self, id: str, document: View) -> Student:
        routines = document.views("routines").items()
        return Student(
            id=id,
            alias="",
            school=intern(document.text("school")),
            room=intern(document.text("room")),
            devices=tuple(read_device(text) for text in document.texts("devices")),
            routines=tuple(_routine(name, routine) for name, routine in routines),
            chains=choice_of(document),
        )


def build_when(when: View) -> When:
    """When a routine is due, of its stored form."""
    variant = when.maybe("variant")
    if when.has("at"):
        return When(at=read_time(when.text("at")), variant=variant)
    way = "before" if when.has("before") else "after"
    edge, bell = split_bell(when.text(way))
    offset = read_duration(when.text("by", "0 min"))
    return When(bell=bell, edge=edge, offset=-offset if way == "before" else offset, variant=variant)


def student_document(student: Student) -> dict[str, object]:
    """The stored form of a student; `build_student` gives the student back."""
    document: dict[str, object] = {"alias": student.alias}
    if student.nicknames:
        document["nicknames"] = list(student.nicknames)
    document |= {"school": student.school, "room": student.room}
    document["devices"] = [_write_device(device) for device in student.devices]
    if student.routines:
        document["routines"] = {routine.id: _write_routine(routine) for routine in student.routines}
    if student.guardians:
        document["guardians"] = list(student.guardians)
    if student.usual:
        document["usual"] = [_write_usual(stated) for stated in student.usual]
    if student.usual_since is not None:
        document["usual since"] = student.usual_since.isoformat()
    if student.lights:
        document["lights"] = list(student.lights)
    if student.wishes:
        document["family first"] = list(student.wishes)
    if student.chains is not None:
        document["chains"] = choice_document(student.chains)
    return document


def _usual(text: str) -> Stated:
    *named, missed, _, checks = text.split()
    side, sound = named if len(named) == 2 else ("", named[0])
    return Stated(Side(side) if side else None, None if sound == "all" else sound, int(missed), int(checks))


def _write_usual(stated: Stated) -> str:
    named = (stated.side.value if stated.side else "", stated.sound or "all")
    return f"{' '.join(named).strip()} {stated.missed} of {stated.checks}"


def read_device(text: str) -> Device:
    """A device of its stored form: side, kind, form and power, as far as they are said."""
    words = text.split()
    side = Side(words.pop(0)) if words[0] in SIDES else None
    kind, *more = words
    form = next((Form(word) for word in more if word not in POWERS), None)
    power = next((Power(word) for word in more if word in POWERS), None)
    return Device(DeviceKind(kind), side, form, power)


def _write_device(device: Device) -> str:
    said = (device.side, device.kind, device.form, device.power)
    return " ".join(word.value for word in said if word is not None)


def _routine(id: str, routine: View) -> Routine:
    return Routine(
        id=id,
        when=build_when(routine.view("when")),
        checker=routine.text("checker"),
        second=routine.maybe("second"),
        weekdays=tuple(WEEKDAYS.index(day) + 1 for day in routine.texts("days")),
        cycle_days=routine.texts("cycle days"),
        kind=routine.text("kind", "daily"),
    )


def _write_routine(routine: Routine) -> dict[str, object]:
    document: dict[str, object] = {"when": write_stored_when(routine.when), "checker": routine.checker}
    if routine.second is not None:
        document["second"] = routine.second
    if routine.weekdays:
        document["days"] = [WEEKDAYS[day - 1] for day in routine.weekdays]
    if routine.cycle_days:
        document["cycle days"] = list(routine.cycle_days)
    document["kind"] = routine.kind
    return document


def write_stored_when(when: When) -> dict[str, object]:
    """The stored form of when a routine is due."""
    if when.at is not None:
        stored: dict[str, object] = {"at": write_time(when.at)}
    else:
        bell = f"end of {when.bell}" if when.edge == "end" else str(when.bell)
        stored = {"before" if when.offset.total_seconds() < 0 else "after": bell}
        stored["by"] = write_duration(abs(when.offset))
    if when.variant is not None:
        stored["variant"] = when.variant
    return stored


def choice_document(choice: ChainChoice) -> dict[str, object]:
    """The stored form of a choice of chains."""
    named = {
        "silence": choice.silence,
        "watch": choice.watch,
        "same day": choice.same_day,
        "urgent": choice.urgent,
        "emergency": choice.emergency,
    }
    return {cause: chain for cause, chain in named.items() if chain is not None}
