"""The invented district of the demo year: twelve schools of fifteen children, their adults, chains and shelves."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from service.demo.year.calendar import Calendar

Documents = dict[str, dict[str, dict[str, Any]]]

SCHOOLS = (
    "Hollow Road", "Oxbow Green", "Peel Lane", "Tansy Mill", "Fallow End", "Bracken Rise", "Cinder Hill", "Otter Ford",
    "Quarry Bank", "Sedge Common", "Larch Corner", "Wicket Bend",
)  # fmt: skip
ALIASES = (
    "Wren", "Finch", "Lark", "Heron", "Plover", "Dunlin", "Tern", "Swift", "Linnet", "Siskin", "Curlew", "Snipe",
    "Avocet", "Merlin", "Osprey",
)  # fmt: skip
SURNAMES = (
    "Teal", "Moss", "Fenn", "Aske", "Reed", "Vane", "Birch", "Linden", "Sorrel", "Tarn", "Holt", "Rowe", "Gorse",
    "Beck", "Sallow", "Hythe", "Combe", "Ling", "Thorpe", "Copse", "Rill", "Garth", "Brake", "Weald", "Shaw", "Firth",
    "Lowe", "Heath", "Marl", "Dell", "Croft", "Wold", "Stile", "Leaze", "Mere", "Spinney",
)  # fmt: skip
TEACHERS = 2
ROOM = 5
"""Children in a room; the checker of a school's third room is the aide."""

CABLES = ("short", "long", "coiled")
IMPLANT = "cochlear-implant"
AID = "hearing-aid"
KINDS = (IMPLANT, AID, IMPLANT, AID, AID)
CELLS = {IMPLANT: ("675", "implant", "8 days"), AID: ("13", "ordinary", "12 days")}
COORDINATOR = "c-reed"
VISITING = ("v-holt", "v-marl", "v-dell")
OFTEN = ("sedge-common",)
"""The visiting teacher comes twice a week to these schools, else once."""

WEEK = ("mon", "tue", "wed", "thu", "fri")
AUDIOLOGISTS = ("a-vane", "a-garth")
CHAT = "chat"
SECRET = "BELLCHECK_DEMO_YEAR_SECRET"  # noqa: S105 - the name under which the secret is held
WATCHED = 5
"""Every fifth child has what is usual for it stated by the audiologist."""


@dataclass(frozen=True)
class Child:
    """A child of the district, as the year needs it. `visits` are the weekdays (0: Monday) of the visiting teacher."""

    id: str
    alias: str
    school: str
    room: int
    checker: str
    visitor: str
    visits: tuple[int, ...]
    kind: str
    cable: str | None
    shelf: str
    watched: bool

    @property
    def devices(self) -> tuple[str, ...]:
        """What the child wears, each with its side."""
        return (f"left {self.kind}", f"right {self.kind}")


def slug(name: str) -> str:
    """The id of a school by its name."""
    return name.lower().replace(" ", "-")


def teacher(school: str, room: int) -> str:
    """The id of whoever checks a room."""
    return aide(school) if room > TEACHERS else f"{school}-r{room}"


def aide(school: str) -> str:
    """The id of the second checker."""
    return f"{school}-aide"


def office(school: str) -> str:
    """The id of the front office."""
    return f"{school}-office"


def children(schools: Sequence[str] = SCHOOLS) -> tuple[Child, ...]:
    """All children of these schools, school by school."""
    places = [(place, slug(name)) for place, name in enumerate(SCHOOLS) if name in schools]
    return tuple(_child(place, school, n) for place, school in places for n in range(len(ALIASES)))


def _child(place: int, school: str, n: int) -> Child:
    kind, room = KINDS[n % len(KINDS)], 1 + n // ROOM
    worn = sum(1 for before in range(n) if KINDS[before % len(KINDS)] == IMPLANT)
    return Child(
        id=f"{school}-{n + 1:02}",
        alias=ALIASES[n],
        school=school,
        room=room,
        checker=teacher(school, room),
        visitor=VISITING[place % len(VISITING)],
        visits=(0, 3) if school in OFTEN else (place // len(VISITING),),
        kind=kind,
        cable=CABLES[worn % len(CABLES)] if kind == IMPLANT else None,
        shelf=f"{school}-{CELLS[kind][0]}",
        watched=n % WATCHED == 0,
    )


def documents(year: Calendar, schools: Sequence[str] = SCHOOLS) -> Documents:
    """The configuration of these schools."""
    every = children(schools)
    return {
        "district": {"district": _district()},
        "settings": {"settings": {"settle in": "0 days"}},
        "channels": {CHAT: _channel()},
        "people": dict(_people(schools)),
        "schools": {slug(name): _school(name, SCHOOLS.index(name), year) for name in schools},
        "students": {child.id: _student(child, year) for child in every},
        "chains": _chains(),
        "supplies": dict(_shelves(every, year)),
    }


def _district() -> dict[str, Any]:
    chains = {"silence": "silence", "watch": "same-day", "same day": "same-day", "urgent": "urgent"}
    return {
        "name": "Larkfield Schools",
        "emergency": {"number": "911", "text": "Text 911: the school, the room, what happened"},
        "chains": {**chains, "emergency": "emergency"},
    }


def _channel() -> dict[str, Any]:
    return {
        "kind": "webhook",
        "shared": False,
        "url": "http://127.0.0.1:8421/{address}",
        "signing secret": [{"env": SECRET}],
        "allow": ["127.0.0.1"],
    }


def _people(schools: Sequence[str]) -> Iterator[tuple[str, dict[str, Any]]]:
    names = _names()
    yield COORDINATOR, _person("C. Reed", "coordinator")
    for place, id in enumerate(AUDIOLOGISTS):
        here = [slug(name) for name in SCHOOLS[place :: len(AUDIOLOGISTS)] if name in schools]
        yield id, _person(_from_id(id), {"audiologist": here})
    for place, id in enumerate(VISITING):
        here = [slug(name) for name in SCHOOLS[place :: len(VISITING)] if name in schools]
        yield id, {**_person(_from_id(id), {"visiting staff": here}, {"checker": here})}
    yield "n-sorrel", _person("N. Sorrel", "nurse")
    for name in schools:
        school = slug(name)
        for room in range(1, TEACHERS + 1):
            yield teacher(school, room), _person(next(names), {"checker": [school]})
        yield aide(school), _person(next(names), {"second": [school]}, {"checker": [school]})
        yield office(school), _person(next(names), {"front office": [school]})


def _from_id(id: str) -> str:
    initial, _, surname = id.partition("-")
    return f"{initial.upper()}. {surname.capitalize()}"


def _names() -> Iterator[str]:
    """Invented names: every surname with one initial after the other."""
    for initial in "BDEGHJKL":
        for surname in SURNAMES:
            yield f"{initial}. {surname}"


def _person(name: str, *roles: str | Mapping[str, list[str]]) -> dict[str, Any]:
    address = name.lower().replace(". ", "-")
    return {"name": name, "roles": [*roles], "channels": [{CHAT: address}]}


def _school(name: str, place: int, year: Calendar) -> dict[str, Any]:
    bells = {kind: {"bells": [{n: t} for n, t in day]} for kind, day in _bells(place).items()}
    return {
        "name": f"{name} School",
        "zone": "America/Chicago",
        "terms": [{term: f"{first} to {last}"} for term, first, last in year.terms],
        "closures": [{what: f"{first} to {last}"} for what, first, last in year.closures],
        "day types": bells,
        "week": dict.fromkeys(WEEK, "regular"),
        "delayed type": "late start",
    }


def _bells(place: int) -> dict[str, list[tuple[str, str]]]:
    """Two sets of bells in the district, half an hour apart."""
    hour = ("07", "08")[place % 2]
    early = [("First bell", f"{hour}:45"), ("Period 1", f"{hour}:55 - {int(hour) + 1:02}:50")]
    late = [("First bell", f"{int(hour) + 2:02}:45"), ("Period 1", f"{int(hour) + 2:02}:55 - 11:30")]
    last = f"{14 + place % 2}:45"
    rest = [("Lunch", "11:40 - 12:20"), ("Last bell", last)]
    return {"regular": [*early, *rest], "late start": [*late, *rest]}


def _student(child: Child, year: Calendar) -> dict[str, Any]:
    second = teacher(child.school, 1) if child.checker == aide(child.school) else aide(child.school)
    days = [WEEK[day] for day in child.visits]
    student: dict[str, Any] = {
        "alias": child.alias,
        "school": child.school,
        "room": str(child.room),
        "devices": list(child.devices),
        "routines": {
            "morning": {"when": {"before": "Period 1", "by": "5 min"}, "checker": child.checker, "second": second},
            "visit": {"when": {"after": "Period 1", "by": "15 min"}, "checker": child.visitor, "days": days},
        },
    }
    for routine in student["routines"].values():
        routine["kind"] = "daily"
    if child.watched:
        student |= {"usual": ["all heard"], "usual since": year.first.isoformat()}
    return student


def _chains() -> dict[str, Any]:
    def chain(hours: str, *steps: tuple[str, str], **more: object) -> dict[str, Any]:
        told = [{"tell": who, "limit": limit} for who, limit in steps]
        return {"steps": told, "after hours": hours, **more}

    end = "end of day"
    return {
        "silence": chain(
            "hold", ("checker", "10 min"), ("second", "5 min"), ("front office", "10 min"), ("coordinator", end)
        ),
        "same-day": chain("hold", ("audiologist", "20 min"), ("coordinator", end)),
        "urgent": chain("carry on", ("audiologist", "5 min"), ("nurse", "5 min"), ("coordinator", end)),
        "emergency": chain("carry on", ("nurse", "5 min"), ("audiologist", "5 min"), ("coordinator", end)),
    }


def _shelves(every: tuple[Child, ...], year: Calendar) -> Iterator[tuple[str, dict[str, Any]]]:
    users: dict[str, list[Child]] = {}
    for child in every:
        users.setdefault(child.shelf, []).append(child)
        if child.cable:
            users.setdefault(f"{child.school}-{child.cable}", []).append(child)
    for id, held in users.items():
        size, use, lasts = CELLS[held[0].kind] if id == held[0].shelf else (held[0].cable, None, "130 days")
        shelf: dict[str, Any] = {
            "school": held[0].school,
            "kind": "cell" if use else "cable",
            "size": size,
            "students": [child.id for child in held],
            "counted": year.first.isoformat(),
            "pieces": ["60" if use else "8"],
            "lasts": lasts,
        }
        yield id, {**shelf, "use": use} if use else shelf
