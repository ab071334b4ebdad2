"""What the record knows of those who use a school's shelves: what was put in, how often somebody looked, which days."""

from collections import Counter, defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from service.core.checks import Statement
from service.core.days import SchoolDay
from service.core.measures.tally import DONE, NOT_EXPECTED
from service.core.reading import Result
from service.core.supplies.changes import Put, Said, put_in
from service.core.supplies.items import Kind
from service.engine.codec import decode
from service.engine.desk import Moment
from service.store import history, supplies

BACK = timedelta(days=180)
"""How far back the record is read for how fast things are used: older habits say little (local choice)."""

AHEAD = timedelta(days=180)
"""How far ahead is looked."""

CHANGED = {Kind.CELL: "BAT", Kind.CABLE: "CABLE"}
"""By which fault, put right at school, the record knows that a new one was put in."""

MENDING = (Result.FAULT.value, Result.FIXED.value)


@dataclass(frozen=True)
class Looked:
    """On how many of the days on which it was expected somebody looked at a student's devices, and since when."""

    days: int
    expected: int
    since: date


@dataclass(frozen=True)
class ShelfRecord:
    """What is known at a school: its school days past and to come (today among the latter while it lasts), what was put
    in by the kind of supply, and how often somebody looked at each student.
    """

    today: date
    past: list[date]
    coming: list[date]
    put: Mapping[Kind, Sequence[Put]]
    looked: Mapping[str, Looked]


def record_of(m: Moment, school: str, students: Collection[str], counted: date) -> ShelfRecord:
    """The record of these students of a school, as far back as any of their shelves was `counted`, at least."""
    today = m.today(school)
    since = today - BACK
    said = _said(m, school, students, min(since, counted))
    days = _school_days(m, school, since, today + AHEAD)
    return ShelfRecord(
        today,
        [day for day in days if day <= today],
        [day for day in days if day > today or (day == today and not _is_over(m, school, day))],
        {kind: put_in(said, code) for kind, code in CHANGED.items()},
        _looked(m, students, since, today),
    )


def _said(m: Moment, school: str, students: Collection[str], since: date) -> list[Said]:
    """What was said of these students, with its words where they are about one student's fault alone."""
    rows = supplies.said(m.tx, students, since)
    messages = {row.message for row in rows if row.message and row.body["result"] in MENDING}
    about = Counter(s.inbox_id for s in history.said_in(m.tx, messages) if s.body["result"] in MENDING)
    texts = history.messages_in(m.tx, [id for id in messages if about[id] == 1])
    return [
        Said(
            row.check,
            row.student,
            m.today_at(school, row.at),
            replace(decode(Statement, row.body), at=row.at),
            texts[row.message].text if row.message in texts else "",
        )
        for row in rows
    ]


def _school_days(m: Moment, school: str, first: date, last: date) -> list[date]:
    days = (first + timedelta(days=n) for n in range((last - first).days + 1))
    return [day for day in days if isinstance(m.day(school, day), SchoolDay)]


def _is_over(m: Moment, school: str, day: date) -> bool:
    found = m.day(school, day)
    return isinstance(found, SchoolDay) and m.now >= found.last


def _looked(m: Moment, students: Collection[str], first: date, last: date) -> dict[str, Looked]:
    done: defaultdict[str, set[date]] = defaultdict(set)
    expected: defaultdict[str, set[date]] = defaultdict(set)
    for student, day, result in supplies.results(m.tx, students, first, last):
        if result not in NOT_EXPECTED:
            expected[student].add(day)
        if result in DONE:
            done[student].add(day)
    return {s: Looked(len(done[s]), len(days), min(days)) for s, days in expected.items()}
