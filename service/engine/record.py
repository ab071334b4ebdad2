"""The record: who was asked when, who answered what, what followed, and how long it took to working.

Silence is in it as `unanswered`. A record of one student holds words only where they are about that student
alone; of a message about several it says what was understood for the one, and that words are withheld.
"""

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from service.core.checks import Statement
from service.core.district import District
from service.core.reading import Result
from service.engine.codec import decode
from service.engine.desk import Moment
from service.store import history
from service.store.tables import ChaseRow, CheckRow, InboxRow, OutboxRow, RoundRow, StatementRow

WITHHELD = "words also about others withheld"
PRESSED = "pressed on the page"
GOOD = (Result.WORKING, Result.FIXED)


@dataclass(frozen=True)
class Answered:
    """One thing said about a check. `words` are word for word, or say why they are not here."""

    at: datetime
    person: str
    result: str
    faults: tuple[str, ...]
    words: str
    late: bool
    taken_back: bool


@dataclass(frozen=True)
class Message:
    """One message about a check: to whom, as what, when it was taken (or made, where it never was)."""

    at: datetime
    person: str
    role: str
    purpose: str
    outcome: str


@dataclass(frozen=True)
class Line:
    """The record of one check. `followed` are its chases: why, and how each ended or stands."""

    check: str
    date: date
    school: str
    student: str
    alias: str
    room: str
    routine: str
    due: datetime | None
    asked_at: datetime | None
    checker: str
    result: str
    result_at: datetime | None
    by: str | None
    answers: tuple[Answered, ...]
    messages: tuple[Message, ...]
    followed: tuple[str, ...]

    @property
    def minutes_to_answer(self) -> int | None:
        """Whole minutes from the asking to the first answer."""
        first = next((a.at for a in self.answers), None)
        return _minutes(self.asked_at, first)

    @property
    def minutes_to_working(self) -> int | None:
        """Whole minutes from the first report of a fault until it was said to work; None without either."""
        broken = next((a.at for a in self.answers if a.result == Result.FAULT.value), None)
        good = {r.value for r in GOOD}
        mended = next(
            (a.at for a in self.answers if broken is not None and a.result in good and a.at >= broken), None
        )
        return _minutes(broken, mended)


def record(
    m: Moment, first: date, last: date, school: str | None = None, student: str | None = None
) -> tuple[Line, ...]:
    """The record from `first` to `last`, both included, of everything, a school or a student."""
    checks = history.checks(m.tx, first, last, school, student)
    gathered = _gather(m, checks, student)
    return tuple(_line(check, gathered) for check in checks)


@dataclass(frozen=True)
class _Gathered:
    rounds: Mapping[str, RoundRow]
    said: Mapping[str, Sequence[StatementRow]]
    words: Mapping[str, str]
    chases: Mapping[str, Sequence[ChaseRow]]
    messages: Mapping[str, Sequence[OutboxRow]]


def _gather(m: Moment, checks: Sequence[CheckRow], student: str | None) -> _Gathered:
    ids = [c.id for c in checks]
    said: defaultdict[str, list[StatementRow]] = defaultdict(list)
    for row in history.statements(m.tx, ids):
        said[row.check_id].append(row)
    chases: defaultdict[str, list[ChaseRow]] = defaultdict(list)
    for chase in history.chases_about(m.tx, ids):
        chases[chase.check_id or ""].append(chase)
    of_chase = {chase.id: check for check, held in chases.items() for chase in held}
    messages: defaultdict[str, dict[str, OutboxRow]] = defaultdict(dict)
    for chase_id, sent in history.messages_about(m.tx, list(of_chase)):
        messages[of_chase[chase_id]][sent.id] = sent
    inbox = history.messages_in(m.tx, {r.inbox_id for rows in said.values() for r in rows if r.inbox_id})
    return _Gathered(
        history.rounds_named(m.tx, {c.round_id for c in checks}),
        said,
        _words(m, inbox, student),
        chases,
        {check: list(held.values()) for check, held in messages.items()},
    )


def _words(m: Moment, inbox: Mapping[str, InboxRow], student: str | None) -> dict[str, str]:
    plain = {id: row.text or PRESSED for id, row in inbox.items()}
    if student is None:
        return plain
    about: defaultdict[str, set[str]] = defaultdict(set)
    rows = history.said_in(m.tx, list(inbox))
    checks = history.checks_named(m.tx, {row.check_id for row in rows})
    for row in rows:
        about[row.inbox_id or ""].add(checks[row.check_id].student)
    rounds = {c.round_id for c in checks.values()}
    beside: defaultdict[str, list[CheckRow]] = defaultdict(list)
    for check in history.checks_of_rounds(m.tx, rounds):
        beside[check.round_id].append(check)
    others = _others_of(rows, checks, beside, student)
    names = _names(m.district, student)
    return {
        id: WITHHELD if about[id] != {student} or _speaks_of(text, others.get(id, ()), names) else text
        for id, text in plain.items()
    }


def _others_of(
    rows: Iterable[StatementRow],
    checks: Mapping[str, CheckRow],
    beside: Mapping[str, Sequence[CheckRow]],
    student: str,
) -> dict[str, set[int]]:
    """For each message the numbers that the other students of its round have."""
    found: defaultdict[str, set[int]] = defaultdict(set)
    for row in rows:
        others = [c.number for c in beside[checks[row.check_id].round_id] if c.student != student]
        found[row.inbox_id or ""].update(others)
    return found


def _names(district: District, student: str) -> frozenset[str]:
    """What the other children of the student's school are called, in small letters."""
    own = district.students.get(student)
    return frozenset(
        name.casefold()
        for other in district.students.values()
        if other.id != student and (own is None or other.school == own.school)
        for name in (other.alias, *other.nicknames)
    )


def _speaks_of(text: str, numbers: Iterable[int], names: frozenset[str]) -> bool:
    """Whether a text has a number or a name of another child; where in doubt it has."""
    if text == PRESSED:
        return False
    lowered = text.casefold()
    figures = {int(found) for found in re.findall(r"\d{1,3}", lowered)}
    return bool(figures & set(numbers)) or any(
        re.search(rf"(?<!\w){re.escape(name)}", lowered) for name in names
    )


def _line(check: CheckRow, gathered: _Gathered) -> Line:
    row = gathered.rounds.get(check.round_id)
    return Line(
        check=check.id,
        date=check.date,
        school=check.school,
        student=check.student,
        alias=check.alias,
        room=check.room,
        routine=check.routine,
        due=row.due if row else None,
        asked_at=row.asked_at if row else None,
        checker=row.checker if row else "",
        result=check.result or check.state,
        result_at=check.result_at,
        by=check.by,
        answers=tuple(_answered(s, gathered.words) for s in gathered.said.get(check.id, ())),
        messages=tuple(_message(s) for s in gathered.messages.get(check.id, ())),
        followed=tuple(_followed(c) for c in gathered.chases.get(check.id, ())),
    )


def _answered(row: StatementRow, words: Mapping[str, str]) -> Answered:
    said = decode(Statement, row.body)
    return Answered(
        row.at,
        row.person,
        said.result.value,
        tuple(f"{f.code} {f.side.value}" if f.side else f.code for f in said.faults),
        words.get(row.inbox_id or "", ""),
        said.late,
        row.retracted_at is not None,
    )


def _message(row: OutboxRow) -> Message:
    return Message(row.accepted_at or row.created_at, row.person, row.role, row.purpose, row.state)


def _followed(chase: ChaseRow) -> str:
    cause = f"{chase.why} ({chase.severity.replace('_', ' ')})" if chase.severity else chase.why
    held = chase.body["chase"]
    end = held.get("end")
    if end is None:
        return f"{cause}: {chase.phase}"
    return f"{cause}: {end['how']}" + (f" by {end['by']}" if end.get("by") else "")


def _minutes(start: datetime | None, end: datetime | None) -> int | None:
    if start is None or end is None:
        return None
    return max(0, int((end - start).total_seconds() // 60))
