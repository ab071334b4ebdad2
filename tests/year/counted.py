"""A demo year counted without the engine: the same children, faults and answers, by a short reckoning of who is asked.

Clean years are many, and the engine takes minutes for one. What is reckoned here is what a lived year comes to, which
`tests/demo/test_demo_year.py` holds against the engine check by check.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from service.core.district import Device, DeviceKind, Side, Stated
from service.core.listening.contradicted import Word
from service.core.listening.design import SCHOOL_DAYS
from service.core.listening.slipping import Plan, watch
from service.core.listening.stated import Checked, listenings, usual_of
from service.core.measures.proportions import Share
from service.core.patterns.changes import Counted
from service.core.patterns.contacts import Turn
from service.core.patterns.looks import Finding, Kind, weekly
from service.core.patterns.others import Seen, begun
from service.core.reading import Fault, Result
from service.core.sounds import sound_sets
from service.demo.year.nature import Nature
from service.demo.year.people import Heard, People
from service.demo.year.places import VISITING, aide, office, teacher
from service.engine.patterns import Record, looked_again

SOUNDS = sound_sets()["six"].sounds
LOOKED = (Result.WORKING, Result.FIXED, Result.FAULT)


@dataclass(frozen=True)
class Round:
    """Children that one adult is asked about at one time; `second` is who comes next."""

    school: str
    checker: str
    second: str | None
    children: tuple[str, ...]
    due: datetime


@dataclass(frozen=True)
class Ended:
    """How one check ended, and who had said so when."""

    day: date
    child: str
    visit: bool
    heard: Heard | None
    by: str | None = None
    at: datetime | None = None


@dataclass
class Year:
    """A year being counted."""

    nature: Nature
    checks: list[Ended] = field(default_factory=list)
    passed: set[tuple[str, date]] = field(default_factory=set)
    turns: dict[tuple[str, str], list[Turn]] = field(default_factory=lambda: defaultdict(list))
    days: list[date] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.people = People(self.nature)

    def live(self, first: date = date.min, last: date = date.max) -> "Year":
        """Count every school day, or those of these dates."""
        self.days = [day for day in self.nature.days if first <= day <= last]
        for day in self.days:
            self.people.begin()
            answered = [(self._answered(one, day), one) for one in self._rounds(day)]
            for (by, at), one in sorted(answered, key=lambda pair: (pair[0][1] or pair[1].due, pair[1].due)):
                heard = self.people.hear(by, one.children, day) if by else {}
                visit = one.checker in VISITING
                self.checks += [Ended(day, child, visit, heard.get(child), by, at) for child in one.children]
        return self

    def _rounds(self, day: date) -> Iterator[Round]:
        bell = 8 if day != self.nature.year.thaw else 10
        rooms: dict[tuple[str, int], list[str]] = defaultdict(list)
        visits: dict[tuple[str, str], list[str]] = defaultdict(list)
        for child in self.nature.children.values():
            rooms[child.school, child.room].append(child.id)
            if day.weekday() in child.visits:
                visits[child.school, child.visitor].append(child.id)
        start = datetime.combine(day, time(bell))
        for (school, room), held in rooms.items():
            checker = teacher(school, room)
            second = teacher(school, 1) if checker == aide(school) else aide(school)
            yield Round(school, checker, second, tuple(held), start)
        for (school, visitor), held in visits.items():
            yield Round(school, visitor, None, tuple(held), start + timedelta(minutes=20))

    def _answered(self, one: Round, day: date) -> tuple[str | None, datetime | None]:
        """Who answers for a round and when; the turns that this took are kept."""
        away = {absence.person for absence in self.nature.absences(day) if absence.announced}
        role = "visiting" if one.checker in VISITING else "checker"
        turns = [(one.checker, role, 10), (one.second, "second", 5), (office(one.school), "office", 10)]
        at = one.due
        for place, (person, as_, limit) in enumerate(turns):
            if person is None or person in away:
                continue
            minutes = self.nature.answers(person, as_, one.school, day)
            if place:
                who = "front office" if as_ == "office" else as_
                self.turns[who, one.school].append(Turn(day, minutes is not None))
            if minutes is not None:
                return person, at + timedelta(minutes=minutes)
            if not place:
                self.passed.add((one.school, day))
            at += timedelta(minutes=limit)
        return None, None

    def record(self) -> Record:
        """What patterns are looked for in."""
        return Record(
            weekly(self.days),
            self._asked_on(),
            self._cells(),
            self._types(),
            dict(self.turns),
            looked_again(self._words(), lambda word: (self.nature.children[word.student].school, word.at.date())),
        )

    def _asked_on(self) -> dict[tuple[str, str], list[Counted]]:
        schools = dict.fromkeys(child.school for child in self.nature.children.values())
        return {
            ("", school): [Counted(day, Share(int((school, day) in self.passed), 1)) for day in self.days]
            for school in schools
        }

    def _fault_days(self, code: str) -> dict[str, dict[date, bool]]:
        found: dict[str, dict[date, bool]] = defaultdict(dict)
        for one in self.checks:
            if one.heard is not None and one.heard.result in LOOKED:
                found[one.child][one.day] = found[one.child].get(one.day, False) or one.heard.code == code
        return found

    def _cells(self) -> dict[tuple[str, str], list[Counted]]:
        days = self._fault_days("BAT")
        shelves: dict[tuple[str, str], dict[date, list[bool]]] = defaultdict(lambda: defaultdict(list))
        for child in self.nature.children.values():
            for seen in begun(child.id, days[child.id]):
                shelves[child.shelf, child.school][seen.day].append(seen.happened)
        return {
            key: [Counted(day, Share(sum(hits), len(hits))) for day, hits in sorted(held.items())]
            for key, held in shelves.items()
        }

    def _types(self) -> dict[tuple[str, str], list[Seen]]:
        days = self._fault_days("CABLE")
        found: dict[tuple[str, str], list[Seen]] = defaultdict(list)
        for child in self.nature.children.values():
            if child.cable:
                found[child.cable, ""].extend(begun(child.id, days[child.id]))
        return dict(found)

    def _words(self) -> Iterator[Word]:
        for one in self.checks:
            if one.heard is not None and one.by is not None and one.at is not None:
                yield Word(one.at, one.by, one.child, one.heard.result)

    def slips(self) -> Iterator[Finding]:
        """The watched children of whom a rule has spoken."""
        checks: dict[str, list[Ended]] = defaultdict(list)
        for one in self.checks:
            checks[one.child].append(one)
        for child in self.nature.children.values():
            if child.watched:
                yield from self._slips_of(child.id, checks[child.id])

    def _slips_of(self, child: str, checks: list[Ended]) -> Iterator[Finding]:
        held = self.nature.children[child]
        devices = tuple(Device(DeviceKind(held.kind), side) for side in (Side.LEFT, Side.RIGHT))
        usual = usual_of((Stated(None, None, 0, 15),), devices, SOUNDS)
        visits = len(held.visits)
        a_year = SCHOOL_DAYS * (5 + visits) // 5
        plan = Plan(usual, dict.fromkeys({ear.side for ear in usual}, a_year))
        for ear, standing in watch(plan, listenings(map(self._as_checked, checks), devices, usual)).items():
            if standing.spoke is not None:
                missed = Share(standing.missed, standing.checks)
                about = f"{child} {ear.side or 'worn'} {ear.sound}"
                yield Finding(Kind.SOUND, about, held.school, standing.spoke, missed)

    def _as_checked(self, one: Ended) -> Checked:
        heard = one.heard
        if heard is None:
            return Checked(one.day, None)
        result = Result.FIXED if heard.fixed else heard.result
        if heard.code == "SOUND":
            side, _, sound = heard.words.split()
            return Checked(one.day, result, (Fault("SOUND", Side(side)),), (sound,))
        return Checked(one.day, result, (Fault(heard.code),) if heard.code else ())


