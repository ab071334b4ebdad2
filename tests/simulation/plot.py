"""What happens to a district without its being asked: absences, snow, moves, bad lines, crashes, sudden words.

An event has a name that stays the same whatever else is left out, so that a story can be shortened event by event.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from random import Random
from typing import Any

from tests.simulation.chance import dice, drawn
from tests.simulation.nature import nature
from tests.simulation.town import Town

NIGHT = timedelta(hours=9)


@dataclass(frozen=True)
class Event:
    """Something that happens at an instant, in plain words."""

    at: datetime
    name: str
    kind: str
    words: str
    what: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Temper:
    """How wild a seed is: how often, in a school's day, each kind of thing happens."""

    notices: float
    weather: float
    crashes: float
    changes: float
    sudden: float


def temper(seed: int) -> Temper:
    """Seeds of one nature differ: some have much of one thing."""
    chance = dice(seed, "temper")
    return Temper(*(chance.choice(nature(seed).often) for _ in range(5)))


def planned(town: Town, crashes: bool = True) -> list[Event]:
    """All that is planned to happen, in order."""
    wild = temper(town.seed)
    kinds: list[tuple[float, str, Callable[[Town, str, date, Random, str], Iterator[Event]]]] = [
        (wild.notices, "notice", _notices),
        (wild.weather, "weather", _weather),
        (wild.crashes if crashes else 0.0, "crash", _crashes),
        (wild.changes * 0.2, "change", _changes),
        (wild.sudden, "sudden", _sudden),
    ]
    events: list[Event] = []
    for school in town.schools:
        for day in town.days:
            for often, kind, make in kinds:
                chance = dice(town.seed, kind, school, day)
                for n in range(int(often) + (chance.random() < often % 1)):
                    name = f"{kind}-{school}-{day}-{n}"
                    events += make(town, school, day, chance, name)
    return sorted(events, key=lambda e: (e.at, e.name))


def _during(town: Town, school: str, day: date, chance: Random) -> datetime:
    """Some time of the school's day, mostly while checks are under way; some on the minute."""
    around = chance.choice(["08:00", "08:00", "08:00", "09:00", "11:20", "14:25", "06:30", "15:00"])
    at = town.at(school, day, around) + timedelta(seconds=chance.randrange(0, 3000))
    return at.replace(second=0) if chance.random() < 0.3 else at


def _notices(town: Town, school: str, day: date, chance: Random, name: str) -> Iterator[Event]:
    own = [s for s, held in town.students.items() if held["school"] == school]
    adults = [p for p in town.people if p.startswith(f"{school}-")] + ["au", "co"]
    if not own:
        return
    at = _during(town, school, day, chance)
    text = drawn(
        chance,
        {
            f"closed at {school}": 1,
            f"delay 1h at {school}": 1,
            f"delay 20 min at {school}": 1,
            f"early end 11:30 at {school}": 1,
            f"away {chance.choice(own)}": 3,
            f"away {chance.choice(adults)}": 3,
            f"away {chance.choice(adults)} until friday": 1,
            f"back {chance.choice(own)}": 0.5,
            f"swap {chance.choice(adults)} for {chance.choice(adults)}": 0.5,
            f"closed tomorrow at {school}": 0.3,
        },
    )
    if text.startswith(("closed", "delay")) and chance.random() < 0.6:
        at = town.at(school, day, "07:58")
    yield Event(at, name, "notice", f"co gives the notice “{text}”", {"by": "co", "text": text, "school": school})
    if chance.random() < 0.25:
        later = at + timedelta(minutes=chance.choice([1, 5, 30]))
        yield Event(later, f"{name}-withdrawn", "withdraw", f"co withdraws “{text}”", {"by": "co", "notice": name})


def _weather(town: Town, school: str, day: date, chance: Random, name: str) -> Iterator[Event]:
    since = _during(town, school, day, chance)
    until = since + timedelta(minutes=chance.choice([2, 10, 60, 60]))
    who = chance.choice([None, None, *(p for p in town.people if p.startswith(school))])
    channel = chance.choice([None, "chat", "page", "wall"])
    does = chance.choice(["lost", "lost", "slow", "refuse", "busy", "unknown", "bounce", "doubled", "gone"])
    if does in ("gone", "refuse") and who is None:
        does = "lost"
    words = f"{channel or 'every channel'} towards {who or 'everybody'}: {does}, until {until:%H:%M} UTC"
    what = {"person": who, "channel": channel, "does": does, "until": until}
    yield Event(since, name, "weather", words, what)


def _crashes(town: Town, school: str, day: date, chance: Random, name: str) -> Iterator[Event]:
    at = _during(town, school, day, chance)
    if chance.random() < 0.6:
        at = town.at(school, day, chance.choice(["08:05", "08:10", "08:15", "08:20", "14:30"]))
    down = timedelta(seconds=chance.choice([1, 5, 30, 90, 600, 3600]))
    after = int(chance.expovariate(1 / 40))
    instance = chance.randrange(3)
    pause = chance.random() < 0.3
    word = "pauses for ten minutes" if pause else f"is ended by force, for {down.seconds} s,"
    words = f"instance {instance} {word} at its statement {after + 1} from now"
    what = {"instance": instance, "after": after, "down": down, "pause": pause}
    yield Event(at, name, "crash", words, what)


def _changes(town: Town, school: str, day: date, chance: Random, name: str) -> Iterator[Event]:
    own = [s for s, held in town.students.items() if held["school"] == school]
    people = [p for p in town.people if p.startswith(f"{school}-") or p in ("au", "vi")]
    at = town.at(school, day, "09:00") if chance.random() < 0.4 else _during(town, school, day, chance)
    kind = drawn(chance, {"student": 3, "person": 3, "bells": 3, "school": 0.5, "moved": 2})
    if kind == "student" and own:
        gone = chance.choice(own)
        yield Event(at, name, "change", f"{gone} is taken out of the folder", {"remove": ("students", gone)})
    elif kind == "person":
        gone = chance.choice(people)
        yield Event(at, name, "change", f"{gone} is taken out of the folder", {"remove": ("people", gone)})
    elif kind == "bells":
        short = {"dates": {"school": school, "day": day.isoformat(), "type": "short"}}
        yield Event(at, name, "change", f"the bells of {school} are short today", short)
    elif kind == "moved" and own:
        other = [r for r, at_school in town.rooms.items() if at_school == school]
        if other:
            who, to = chance.choice(own), chance.choice(other)
            yield Event(at, name, "change", f"{who} is checked by {to} now", {"move": (who, to)})
    elif kind == "school" and len(town.schools) > 1:
        yield Event(at, name, "change", f"{school} is taken out of the folder", {"remove": ("schools", school)})


def _sudden(town: Town, school: str, day: date, chance: Random, name: str) -> Iterator[Event]:
    """Words that nobody asked for, and what is pressed on a page."""
    at = _during(town, school, day, chance)
    people = [p for p in town.people if p.startswith(f"{school}-")] + ["au", "co", "vi", "cl"]
    guardians = [p for p in town.people if p.startswith(f"g-{school}-")]
    own = [s for s, held in town.students.items() if held["school"] == school]
    if not own:
        return
    who, child = chance.choice([*people, *guardians]), chance.choice(own)
    if chance.random() < 0.5:
        proven = chance.random() < 0.7
        text = drawn(
            chance,
            {
                "1 battery": 3, "ok": 2, "2 cable": 2, "a child swallowed a battery": 0.7, "undo": 1, "mine 20": 1,
                "help": 1, "1 fixed": 2, "not me": 1, "working": 1, "found": 0.5, "wait 10": 1, "1 sore": 1,
                "loaner": 1, "": 0.3, "asdf qwer": 1, f"away {child}": 1, "1 away": 1, "yes": 1, "no": 1,
            },
        )  # fmt: skip
        words = f"{who} writes “{text}” out of the blue{'' if proven else ', unproven'}"
        yield Event(at, name, "says", words, {"person": who, "text": text, "proven": proven})
        return
    result = drawn(chance, {"working": 2, "fixed": 2, "fault": 4, "away": 1, "not done": 1, "back": 1})
    code = chance.choice(["BAT", "CABLE", "SORE", "OTHER", "LOST", "WHISTLE"]) if result == "fault" else None
    words = f"{who} presses {result}{f' {code}' if code else ''} for {child}"
    yield Event(at, name, "press", words, {"person": who, "student": child, "result": result, "code": code})
