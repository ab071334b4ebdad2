"""Forgets whatever is older than a number of years: `bellcheck forget --before`. What is held stays whole."""

from collections import Counter
from datetime import UTC, date, datetime, time
from functools import partial

from service.engine import holds
from service.engine.desk import Desk, Moment
from service.engine.forgetting import (
    Forgotten,
    Work,
    blank_received,
    blank_sent,
    empty_entries,
    reword,
    reword_correction,
)
from service.store import forgetting as rows
from service.store.forgetting import FORGOTTEN
from service.store.tables import InboxRow, OutboxRow


def cutoff(today: date, years: int) -> date:
    """The same day that many years before (28 February for the 29th where there is none)."""
    try:
        return today.replace(year=today.year - years)
    except ValueError:
        return today.replace(year=today.year - years, day=28)


def is_due(m: Moment) -> date | None:
    """The oldest date of which a child's name is still kept, where that is longer ago than the folder says."""
    oldest = rows.oldest_named(m.tx)
    before = cutoff(m.now.date(), m.district.settings.keep_for_years)
    return oldest if oldest is not None and oldest < before else None


def forget(desk: Desk, before: date, by: str, really: bool) -> Counter[str]:
    """Forget what is from before a date, or count it; says how many rows of each kind."""
    with desk.glance() as m:
        held = frozenset(hold.student for hold in holds.of(m.tx))
    work = Work(desk, f"before-{before.isoformat()}", by, really)
    at = datetime.combine(before, time(), UTC)
    _all_sent(work, at, held)
    _all_received(work, at, held)
    work.slice(partial(_notices, work, before, held))
    work.slice(partial(_entries, at, held))
    _all_days(work, before, held)
    return work.done


def _all_sent(work: Work, at: datetime, held: frozenset[str]) -> None:
    after: str | None = ""
    while after is not None:
        with work.desk.glance() as m:
            found = rows.sent_before(m.tx, at, after)
        work.slice(partial(_sent, [row.id for row in found], held))
        after = found[-1].id if found else None


def _sent(ids: list[str], held: frozenset[str], m: Moment, taken: Forgotten) -> None:
    for row in rows.sent(m.tx, ids):
        if not held & _students(m, row):
            blank_sent(row, taken, address=True)
            m.tx.add(row)


def _students(m: Moment, row: OutboxRow) -> set[str]:
    return set(row.body.get("students", ())) | rows.students_of_chases(m.tx, row.body.get("chases", ()))


def _all_received(work: Work, at: datetime, held: frozenset[str]) -> None:
    after: str | None = ""
    while after is not None:
        with work.desk.glance() as m:
            found = rows.received_before(m.tx, at, after)
        work.slice(partial(_received, work, [row.id for row in found], held))
        after = found[-1].id if found else None


def _received(work: Work, ids: list[str], held: frozenset[str], m: Moment, taken: Forgotten) -> None:
    found = rows.received(m.tx, ids)
    said = rows.students_of_words(m.tx, ids)
    beside = rows.students_of_rounds(m.tx, {row.round_id for row in found if row.round_id})
    gone: list[InboxRow] = []
    for row in found:
        if not held & (said.get(row.id, set()) | beside.get(row.round_id or "", set())):
            blank_received(row, taken, address=True)
            gone.append(row)
            m.tx.add(row)
    work.forget(m, taken, rows.values_about(m.tx, [f"rg-{row.id}" for row in gone]))


def _notices(work: Work, before: date, held: frozenset[str], m: Moment, taken: Forgotten) -> None:
    about = []
    for row in rows.notices(m.tx, before):
        if row.body.get("student") not in held:
            reword(row, FORGOTTEN, taken)
            about.append(row.id)
            m.tx.add(row)
    for mark in rows.corrections(m.tx):
        if mark.key.rpartition("/")[2] < before.isoformat():
            reword_correction(mark, FORGOTTEN, taken)
            m.tx.add(mark)
    work.forget(m, taken, rows.values_about(m.tx, about))


def _entries(at: datetime, held: frozenset[str], m: Moment, taken: Forgotten) -> None:
    for section in ("students", "people"):
        old = [row.id for row in rows.removed_entries(m.tx, section, at) if row.id not in held]
        empty_entries(m, section, old, taken)


def _all_days(work: Work, before: date, held: frozenset[str]) -> None:
    after: tuple[str, date] | None = None
    while True:
        with work.desk.glance() as m:
            days = rows.days_before(m.tx, before, after)
        if not days:
            return
        work.slice(partial(_days, days, held))
        after = days[-1]


def _days(days: list[tuple[str, date]], held: frozenset[str], m: Moment, taken: Forgotten) -> None:
    for day in days:
        ids = rows.named_checks(m.tx, day, held)
        rows.unname_checks(m.tx, ids)
        taken.counts["checks"] += len(ids)
