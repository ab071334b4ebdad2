"""What stands out in the record of a school year: looked for as the weeks ended, so that it does not matter when or
how often somebody asks.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from service.core.chains import Chase
from service.core.district import Student
from service.core.listening.contradicted import WITHIN, Word, contradicted
from service.core.measures.proportions import Share
from service.core.measures.tally import DONE
from service.core.patterns.changes import Counted, changed
from service.core.patterns.contacts import Turn, silent
from service.core.patterns.looks import Finding, Kind, first_seen, weekly
from service.core.patterns.others import Seen, begun, stands_out
from service.core.reading import Result
from service.core.supplies.items import Kind as Supply
from service.engine import slips
from service.engine.codec import decode
from service.engine.desk import Moment
from service.engine.measures import turns_of
from service.store import sightings
from service.store.sightings import Sighting

LOOKED = frozenset(result.value for result in DONE)
ENDED = frozenset(result.value for result in Result) - {Result.NO_CHECK.value, Result.NOT_ASKED.value}
"""How checks end about which somebody was asked."""

Key = tuple[str, str]
"""What or who, and at which school; "" stands for the district."""


@dataclass(frozen=True)
class Record:
    """What is looked through, by what it is about."""

    looks: tuple[date, ...]
    asked_on: Mapping[Key, Sequence[Counted]]
    cells: Mapping[Key, Sequence[Counted]]
    types: Mapping[Key, Sequence[Seen]]
    contacts: Mapping[Key, Sequence[Turn]]
    otherwise: Mapping[Key, Sequence[Seen]]

    def findings(self) -> tuple[Finding, ...]:
        """What stands out, each at the first look that sees it, earliest first."""
        return first_seen(self.looks, self._at)

    def _at(self, look: date) -> Iterator[Finding]:
        yield from changed(Kind.PASSED_ON, self.asked_on, look)
        yield from changed(Kind.CELLS, self.cells, look)
        yield from stands_out(Kind.TYPE, self.types, look)
        yield from silent(self.contacts, look)
        yield from stands_out(Kind.OTHERWISE, self.otherwise, look)


def findings(m: Moment, first: date, last: date, *, otherwise: bool = False) -> tuple[Finding, ...]:
    """What stands out in the weeks of these dates that are over, and which children slip, earliest first.

    `otherwise` looks at whose answers others found otherwise as well: only where the district and its staff have
    agreed, and for the eyes of that adult first.
    """
    found = record(m, first, last, otherwise=otherwise).findings()
    return tuple(sorted((*found, *_slips(m, first, last)), key=lambda f: (f.on, f.kind, f.at, f.about)))


def record(m: Moment, first: date, last: date, *, otherwise: bool = False) -> Record:
    """The record of these dates as patterns are looked for in it."""
    rows = [row for row in sightings.checks(m.tx, first, last) if row.result in ENDED]
    passed, contacts = _turns(m, first, last)
    this_week = max((m.today(school) for school in m.district.schools), default=last).isocalendar()[:2]
    over = [row.date for row in rows if row.date.isocalendar()[:2] < this_week]
    return Record(
        weekly(over),
        _asked_on(rows, passed),
        _cells(m, rows),
        _types(m, rows),
        contacts,
        _otherwise(m, first, last) if otherwise else {},
    )


def _turns(m: Moment, first: date, last: date) -> tuple[frozenset[str], dict[Key, list[Turn]]]:
    """The rounds in which who was asked let their time go by, and the turns of those who come next, a round once.

    Who has no limit is the last, and passes nothing on; a turn that somebody else ended says nothing.
    """
    passed: set[str] = set()
    contacts: dict[tuple[str, str, str], Turn] = {}
    for row in sightings.silences_passed_on(m.tx, first, last):
        chase = decode(Chase, row.body["chase"])
        for turn in turns_of(m, chase):
            let_go = not turn.took.ended and turn.limit is not None and turn.took.length >= turn.limit
            if turn.position == 1 and let_go and chase.round:
                passed.add(chase.round)
            elif turn.position > 1 and turn.limit is not None and (let_go or turn.took.ended):
                key = (turn.who, chase.school, chase.round or chase.id)
                before = contacts.get(key)
                contacts[key] = Turn(chase.date, turn.took.ended or (before is not None and before.answered))
    held: defaultdict[Key, list[Turn]] = defaultdict(list)
    for (who, school, _), one in sorted(contacts.items(), key=lambda pair: (pair[1].day, pair[0])):
        held[who, school].append(one)
    return frozenset(passed), dict(held)


def _asked_on(rows: Iterable[Sighting], passed: frozenset[str]) -> dict[Key, list[Counted]]:
    """By school: the days on which somebody else had to be asked, of those on which anybody was."""
    days: defaultdict[Key, dict[date, bool]] = defaultdict(dict)
    for row in rows:
        held = days["", row.school]
        held[row.date] = held.get(row.date, False) or row.round in passed
    return {
        key: [Counted(day, Share(int(happened), 1)) for day, happened in sorted(held.items())]
        for key, held in days.items()
    }


def _cells(m: Moment, rows: Sequence[Sighting]) -> dict[Key, list[Counted]]:
    """By shelf of cells: the children whose cell had run down, of those looked at, day by day."""
    found = {}
    for shelf, seen in _by_shelf(m, rows, Supply.CELL, "BAT"):
        days: defaultdict[date, list[bool]] = defaultdict(list)
        for one in seen:
            days[one.day].append(one.happened)
        school = m.district.supplies[shelf].counted.place.school
        found[shelf, school] = [Counted(day, Share(sum(d), len(d))) for day, d in sorted(days.items())]
    return found


def _types(m: Moment, rows: Sequence[Sighting]) -> dict[Key, list[Seen]]:
    """By type of cable, over all schools: each child on each day, and whether its cable was at fault."""
    found: defaultdict[Key, list[Seen]] = defaultdict(list)
    for shelf, seen in _by_shelf(m, rows, Supply.CABLE, "CABLE"):
        found[m.district.supplies[shelf].counted.item.size, ""].extend(seen)
    return dict(found) if len(found) > 1 else {}


def _by_shelf(m: Moment, rows: Sequence[Sighting], kind: Supply, code: str) -> Iterator[tuple[str, list[Seen]]]:
    """The shelves of a kind, each with the days of its children on which somebody looked."""
    days: defaultdict[str, dict[date, bool]] = defaultdict(dict)
    for row in rows:
        if row.result in LOOKED:
            found = any(fault["code"] == code for fault in row.faults)
            days[row.student][row.date] = days[row.student].get(row.date, False) or found
    for id, shelf in m.district.supplies.items():
        if shelf.counted.item.kind is kind:
            yield id, [seen for student in shelf.students for seen in begun(student, days[student])]


def _otherwise(m: Moment, first: date, last: date) -> dict[Key, list[Seen]]:
    said = sightings.said(m.tx, first, last)
    places = {(one.at, one.student): (one.school, one.date) for one in said}
    words = (Word(one.at, one.person, one.student, Result(one.body["result"])) for one in said)
    return looked_again(words, lambda word: places[word.at, word.student])


def looked_again(words: Iterable[Word], place: Callable[[Word], tuple[str, date]]) -> dict[Key, list[Seen]]:
    """By adult: each "working" after which somebody else looked within the hour, and whether they found a fault."""
    held = list(words)
    pairs = {(pair.said.at, pair.said.person, pair.said.student) for pair in contradicted(held)}
    found: defaultdict[Key, list[Seen]] = defaultdict(list)
    for word in _looked_at_again(held):
        school, day = place(word)
        happened = (word.at, word.person, word.student) in pairs
        found[word.person, school].append(Seen(day, word.student, happened))
    return dict(found)


def _looked_at_again(words: Iterable[Word]) -> Iterator[Word]:
    """The answers "working" after which somebody else said within the hour what they found."""
    children: defaultdict[str, list[Word]] = defaultdict(list)
    for word in sorted(words, key=lambda word: word.at):
        children[word.student].append(word)
    for held in children.values():
        for place, word in enumerate(held):
            after = (w for w in held[place + 1 :] if w.person != word.person and w.result.value in LOOKED)
            following = next(after, None)
            is_good = word.result is Result.WORKING
            if is_good and following is not None and following.at - word.at <= WITHIN:
                yield word


def _slips(m: Moment, first: date, last: date) -> Iterator[Finding]:
    """The children of whom a rule has spoken, each sound and side at the check that made it speak."""
    for student in m.district.students.values():
        if student.usual and student.usual_since is not None:
            yield from _slips_of(m, student, max(first, student.usual_since), last)


def _slips_of(m: Moment, student: Student, since: date, last: date) -> Iterator[Finding]:
    for ear, standing in slips.watched_of(m, student, since, last).items():
        if standing.spoke is not None:
            about = f"{student.id} {ear.side or 'worn'} {ear.sound}"
            missed = Share(standing.missed, standing.checks)
            yield Finding(Kind.SOUND, about, student.school, standing.spoke, missed)
