"""Directed stories: a small district, one room, and what exactly happens in it; nothing is left to chance.

They bring about what dice hardly ever do, in the same world and before the same checker.
"""

from collections.abc import Iterator, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from typing import Any

from service.core.reading import Command
from service.engine.postman import Errand
from tests.simulation.lines import ACCEPTED, Fate, Weather, does
from tests.simulation.people import Answer, Message
from tests.simulation.plot import Event
from tests.simulation.town import DAY_TYPES, TERM, WEEK, ZONES, Town, channel, district

MONDAY = date(2026, 10, 5)
SCHOOL = "s0"
CHILDREN = {"c0": "Fern", "c1": "Moss", "c2": "Ivy"}
"""Numbered 1, 2 and 3 in what the checker is asked."""

Steps = tuple[tuple[str, str], ...]
"""Whom a chain tells, and how long each has."""

SILENCE: Steps = (("checker", "10 min"), ("second", "10 min"), ("co", "end of day"))
FAULT: Steps = (("au", "10 min"), ("co", "end of day"))
ROLES: Mapping[str, Any] = {
    "co": "coordinator",
    "au": "audiologist",
    "room": {"checker": [SCHOOL]},
    "second": {"second": [SCHOOL]},
    "office": {"front office": [SCHOOL]},
    "nurse": {"nurse": [SCHOOL]},
    "guardian": "guardian",
}
"""Everybody; the guardian is the first child's."""


@dataclass(frozen=True)
class Happens:
    """Something that happens at a time of the school's clock, on the first of its days or so many days `later`."""

    wall: str
    kind: str
    words: str
    what: Mapping[str, Any]
    later: int = 0

    def next_day(self) -> "Happens":
        """The same a day later."""
        return replace(self, later=self.later + 1)


def says(wall: str, person: str, text: str, *, newest: bool = True) -> Happens:
    """Somebody answers the newest message that asked them something; or, not `newest`, writes without a thread."""
    return Happens(
        wall, "says", f"{person} writes “{text}”", {"person": person, "text": text, "newest": newest, "proven": True}
    )


def presses(wall: str, person: str, child: str, result: str, then: str = "today") -> Happens:
    """Somebody presses a result for a child on the page; of what is not done `then` says when or by whom it is."""
    what = {"person": person, "student": child, "result": result, "code": None, "then": then}
    return Happens(wall, "press", f"{person} presses {result} for {child}", what)


def acts(wall: str, person: str, chase: str, does: Command) -> Happens:
    """Somebody presses a button on the board beside a chase."""
    what = {"person": person, "chase": chase, "does": does}
    return Happens(wall, "board", f"{person} presses {does.value} beside {chase}", what)


def gives(wall: str, text: str) -> Happens:
    """The coordinator gives a notice."""
    return Happens(wall, "notice", f"co gives the notice “{text}”", {"by": "co", "text": text, "school": SCHOOL})


def withdraws(wall: str, nth: int) -> Happens:
    """The coordinator withdraws what happened as the story's nth thing, a notice."""
    return Happens(wall, "withdraw", "co withdraws it", {"by": "co", "notice": _name(nth)})


def line(wall: str, until: str, person: str, fault: str) -> Happens:
    """The line towards somebody has a fault for a while."""
    what = {"person": person, "channel": None, "does": fault, "until": until}
    return Happens(wall, "weather", f"every message to {person}: {fault}, until {until}", what)


def edits(wall: str, words: str, what: Mapping[str, Any]) -> Happens:
    """Somebody changes the folder."""
    return Happens(wall, "change", words, what)


def _name(nth: int) -> str:
    return f"event-{nth}"


@dataclass(frozen=True)
class Story:
    """A plot: what happens, and what the district has that others have not."""

    name: str
    happens: Sequence[Happens]
    silence: Steps = SILENCE
    fault: Steps = FAULT
    urgent: Steps = FAULT
    carries_on: bool = False
    """Whether the chain of faults goes on after school."""
    settings: Mapping[str, str] = field(default_factory=dict)
    days: int = 1
    schools: Sequence[str] = (SCHOOL,)
    """The first is where everything happens."""

    def town(self) -> Town:
        """The district, with the days that are played."""
        town = Town(0, days=tuple(MONDAY + timedelta(days=n) for n in range(self.days)))
        bells = {name: {"bells": [{n: t} for n, t in bells]} for name, bells in DAY_TYPES.items()}
        school = {
            "name": "A School", "zone": ZONES[0], "terms": [{"Term": TERM}], "day types": bells,
            "week": dict.fromkeys(WEEK, "regular"),
        }  # fmt: skip
        town.documents = {
            "district": {"district": district()},
            "settings": {"settings": {"settle in": "0 days", **self.settings}},
            "channels": {"chat": channel()},
            "people": {id: _person(id, role) for id, role in ROLES.items()},
            "schools": {id: deepcopy(school) for id in self.schools},
            "students": {id: _student(id, alias) for id, alias in CHILDREN.items()},
            "chains": self._chains(),
        }
        return town

    def _chains(self) -> dict[str, Any]:
        def chain(steps: Steps, **more: str) -> dict[str, Any]:
            return {"steps": [{"tell": who, "limit": limit} for who, limit in steps], **more}

        hours = {"after hours": "carry on" if self.carries_on else "hold"}
        everybody = tuple((who, "end of day") for who in ("nurse", "au", "co", "guardian"))
        return {
            "silence": chain(self.silence),
            "watch": chain(FAULT),
            "fault": chain(self.fault, **hours),
            "urgent": chain(self.urgent, **{"after hours": "carry on"}),
            "all": chain(everybody),
        }

    def events(self) -> Sequence[Event]:
        town = self.town()
        found = []
        for nth, each in enumerate(self.happens):
            day = town.days[each.later]
            what = dict(each.what)
            if each.kind == "weather":
                what["until"] = town.at(SCHOOL, day, what["until"])
            found.append(Event(town.at(SCHOOL, day, each.wall), _name(nth), each.kind, each.words, what))
        return found

    def answers(self, _message: Message, _day: date, _depth: int) -> Iterator[tuple[str, Answer]]:
        """Nobody says more than the story has them say."""
        return iter(())

    def fate(self, weather: list[Weather], at: datetime, errand: Errand, _name: str) -> Fate:
        holding = [w.does for w in weather if w.holds(at, errand.channel, errand.person)]
        return does(holding[-1]) if holding else ACCEPTED


def _person(id: str, role: Any) -> dict[str, Any]:
    person: dict[str, Any] = {"name": "Somebody", "roles": [role], "channels": [{"chat": "an-address"}]}
    return {**person, "outside": True, "consent": "2026-01-05"} if id == "guardian" else person


def _student(id: str, alias: str) -> dict[str, Any]:
    routine = {"when": {"at": "08:05"}, "checker": "room", "second": "second", "kind": "daily"}
    return {
        "alias": alias, "school": SCHOOL, "room": "1", "devices": ["left cochlear-implant"],
        "routines": {"morning": routine}, "guardians": ["guardian"] if id == "c0" else [],
    }  # fmt: skip
