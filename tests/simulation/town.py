"""The simulated district of a seed: schools, chains, people and children, and the days that are played.

Everything that the outside world knows of it is kept here in plain words and numbers, so that the checker need
not ask the service how a bell or a limit is meant.
"""

from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from tests.simulation.chance import dice
from tests.simulation.nature import Nature, nature

Documents = dict[str, dict[str, dict[str, Any]]]

REGULAR = (
    ("First bell", "08:00"),
    ("Period 1", "08:15 - 09:00"),
    ("Period 2", "09:05 - 09:50"),
    ("Period 3", "09:55 - 10:40"),
    ("Lunch", "11:30 - 12:10"),
    ("Period 5", "12:15 - 13:30"),
    ("Last bell", "14:30"),
)
SHORT = (
    ("First bell", "08:00"),
    ("Period 1", "08:15 - 08:45"),
    ("Period 2", "08:50 - 09:20"),
    ("Lunch", "10:00 - 10:35"),
    ("Last bell", "11:30"),
)
DAY_TYPES = {"regular": REGULAR, "short": SHORT}
FIRST_DAYS = (
    date(2026, 10, 5),  # a Monday like others
    date(2026, 10, 30),  # clocks in the United States go back over the weekend
    date(2027, 3, 12),  # and forward
    date(2028, 2, 28),  # the next day is a leap day
    date(2026, 4, 23),  # in Egypt the clocks go forward as Friday begins, a school day here
    date(2026, 10, 29),  # and back
)
ZONES = ("America/Chicago", "America/Denver", "Africa/Cairo", "Pacific/Auckland", "America/Phoenix")
ALIASES = (
    "Fern", "Moss", "Ivy", "Reed", "Birch", "Hazel", "Aspen", "Sorrel", "Alder", "Maple", "Clover", "Thistle",
    "Sage", "Willow", "Juniper", "Laurel", "Poppy", "Heather", "Bramble", "Yarrow",
)  # fmt: skip
DEVICES = (["left cochlear-implant"], ["right hearing-aid"], ["left hearing-aid", "right hearing-aid"])
WEEK = ("mon", "tue", "wed", "thu", "fri")
TERM = "2026-01-05 to 2028-12-15"


@dataclass
class Town:
    """A district with the days that are played. `without` are ids of schools and students that are left out."""

    seed: int
    without: frozenset[str] = frozenset()
    days: tuple[date, ...] = ()
    documents: Documents = field(default_factory=dict)
    rooms: dict[str, str] = field(default_factory=dict)
    """Checker to school."""

    @property
    def schools(self) -> list[str]:
        return list(self.documents["schools"])

    @property
    def students(self) -> dict[str, dict[str, Any]]:
        return self.documents["students"]

    @property
    def people(self) -> dict[str, dict[str, Any]]:
        return self.documents["people"]

    def zone(self, school: str) -> ZoneInfo:
        return ZoneInfo(self.documents["schools"][school]["zone"])

    def at(self, school: str, day: date, wall: str) -> datetime:
        """An instant of a school's clock, in UTC."""
        local = datetime.combine(day, time.fromisoformat(wall), tzinfo=self.zone(school))
        return local.astimezone(ZoneInfo("UTC"))

    def aliases(self) -> list[str]:
        return sorted({student["alias"] for student in self.students.values()})


def made(seed: int, without: Collection[str] = (), days: int | None = None) -> Town:
    """The district of a seed, for its own number of school days unless another is given."""
    chance, kind = dice(seed, "town"), nature(seed)
    town = Town(seed, frozenset(without))
    town.documents = {
        "district": {"district": district()},
        "settings": {"settings": _settings(chance)},
        "channels": {"chat": channel(), "page": channel(), "wall": {**channel(), "shared": True}},
        "people": {},
        "schools": {},
        "students": {},
        "chains": _chains(chance),
    }
    for person, role in (("co", "coordinator"), ("au", "audiologist"), ("vi", "visiting staff")):
        town.people[person] = _person(chance, role, kind)
    town.people["cl"] = {**_person(chance, "clinic", kind), "outside": True, "consent": "2026-01-05"}
    town.people["co"].pop("hours", None)
    for n in range(chance.choice(kind.schools)):
        _add_school(town, f"s{n}", chance, kind)
    first = chance.choice(FIRST_DAYS)
    weekdays = (first + timedelta(days=k) for k in range(2 * kind.days + 7))
    town.days = tuple(d for d in weekdays if d.weekday() < 5)[: kind.days if days is None else days]
    return town


def district() -> dict[str, Any]:
    named = {"silence": "silence", "watch": "watch", "same day": "fault", "urgent": "urgent", "emergency": "all"}
    return {"name": "A Made District", "emergency": {"number": "911", "text": "Text 911"}, "chains": named}


def _settings(chance: Random) -> dict[str, str]:
    return {
        "settle in": "0 days",
        "news wait": chance.choice(["30 min", "5 min"]),
        "gather": chance.choice(["2 min", "1 min", "0 min"]),
        "try for": chance.choice(["10 min", "10 min", "5 min"]),
    }


def channel() -> dict[str, Any]:
    return {"kind": "webhook", "url": "https://chat.example/hook", "signing secret": [{"env": "CHAT"}]}


def _person(chance: Random, role: str | dict[str, list[str]], kind: Nature) -> dict[str, Any]:
    ways = chance.choice([("chat",), ("chat", "page"), ("page", "chat"), ("wall", "chat")])
    channels = [{way: "an-address"} for way in ways]
    person: dict[str, Any] = {"name": "Somebody", "roles": [role], "channels": channels}
    if chance.random() < 0.3:
        person["hours"] = dict.fromkeys(WEEK, "07:00 - 16:00")
    elif chance.random() < kind.part_time:
        person["hours"] = dict.fromkeys(WEEK[:3], "09:00 - 13:00")
    return person


def _add_school(town: Town, school: str, chance: Random, kind: Nature) -> None:
    sizes = [chance.choice(kind.children) for _ in range(chance.choice(kind.rooms))]
    zone = chance.choice(ZONES) if chance.random() < kind.zones else ZONES[0]
    bells = {name: {"bells": [{n: t} for n, t in bells]} for name, bells in DAY_TYPES.items()}
    if school in town.without:
        return
    town.documents["schools"][school] = {
        "name": "A School",
        "zone": zone,
        "terms": [{"Term": TERM}],
        "day types": bells,
        "week": dict.fromkeys(WEEK, "regular"),
    }
    town.people[f"{school}-second"] = _person(chance, {"second": [school]}, kind)
    town.people[f"{school}-aide"] = _person(chance, {"second": [school]}, kind)
    town.people[f"{school}-office"] = _person(chance, {"front office": [school]}, kind)
    town.people[f"{school}-nurse"] = _person(chance, {"nurse": [school]}, kind)
    for room, children in enumerate(sizes):
        _add_room(town, school, room, children, dice(town.seed, "room", school, room))


def _add_room(town: Town, school: str, room: int, children: int, chance: Random) -> None:
    checker, kind = f"{school}-r{room}", nature(town.seed)
    person = _person(chance, {"checker": [school]}, kind)
    if chance.random() < 0.3:
        person["deputies"] = [f"{school}-aide"]
    town.people[checker] = person
    town.rooms[checker] = school
    when = chance.choice(
        [{"at": "08:05"}, {"before": "Period 1", "by": "10 min"}, {"after": "Period 1", "by": "5 min"}]
    )
    second = chance.choice([f"{school}-second", f"{school}-second", f"{school}-aide", None])
    for child in range(children):
        student = f"{checker}-c{child}"
        routines = {"morning": _routine(when, checker, second)}
        if chance.random() < kind.midday:
            routines["midday"] = _routine({"after": "end of Lunch", "by": "5 min"}, checker, second, "midday")
        guardians = []
        if chance.random() < kind.guardians:
            guardians = [f"g-{student}"]
            consent = {"consent": "2026-01-05"} if chance.random() < 0.9 else {}
            town.people[f"g-{student}"] = {**_person(chance, "guardian", kind), "outside": True, **consent}
        town.students[student] = {
            "alias": ALIASES[child],
            "school": school,
            "room": str(room + 1),
            "devices": chance.choice(DEVICES),
            "routines": routines,
            "guardians": guardians,
        }
    for student in [s for s in town.students if s in town.without]:
        del town.students[student]


def _routine(when: dict[str, str], checker: str, second: str | None, kind: str = "daily") -> dict[str, Any]:
    routine = {"when": when, "checker": checker, "kind": kind}
    return {**routine, "second": second} if second else routine


def _chains(chance: Random) -> dict[str, Any]:
    def limit() -> Any:
        return chance.choice(
            ["5 min", "7 min", "10 min", "15 min", "20 min", {"until": "end of Period 1", "else": "10 min"},
             {"until": "Period 2", "else": "6 min"}]
        )  # fmt: skip

    def chain(*people: str, last: str = "end of day", **more: object) -> dict[str, Any]:
        limits = [*(limit() for _ in people[1:]), last]
        steps = [{"tell": p, "limit": span} for p, span in zip(people, limits, strict=True)]
        if chance.random() < 0.4:
            steps[-1]["any hour"] = True
        if chance.random() < 0.3:
            steps[-1]["channels"] = ["page"]
        at_most = chance.choice(["60 min", "30 min", "10 min"])
        hours = chance.choice(["hold", "carry on"])
        return {"steps": steps, "mine at most": at_most, "after hours": hours, **more}

    ends = chance.choice(["end of day", "end of day", "15 min"])
    silence = chance.choice(
        [("checker", "second", "front office", "co"), ("checker", "second", "co"), ("checker", "au")]
    )
    fault = chance.choice(
        [("audiologist", "co", "guardian"), ("au", "co"), ("audiologist",), ("nurse", "guardian")]
    )
    return {
        "silence": chain(*silence, last=ends, reminders=chance.choice([0, 1, 1, 2])),
        "watch": chain("audiologist", "co"),
        "fault": chain(*fault, last=ends),
        "urgent": chain("au", "nurse", "co", "guardian", last=ends),
        "all": chain("nurse", "audiologist", "co", "guardian"),
    }
