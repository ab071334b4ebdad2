"""Forgets one student who has left the district: `bellcheck forget --student`."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from service.engine import holds
from service.engine.desk import Desk, Moment
from service.engine.forgetting import (
    Forgotten,
    Refused,
    Work,
    blank_received,
    blank_sent,
    empty_entries,
    reword,
    reword_correction,
    unname_received,
    unname_sent,
)
from service.store import forgetting as rows
from service.store import history
from service.store.forgetting import FORGOTTEN, SLICE, Names


@dataclass(frozen=True)
class Student:
    """What is known of a student who is to be forgotten. `guardians` are those who have left with them."""

    id: str
    names: Names
    checks: tuple[str, ...]
    rounds: tuple[str, ...]
    chases: tuple[str, ...]
    guardians: frozenset[str]


def forget(desk: Desk, student: str, by: str, really: bool) -> Counter[str]:
    """Forget a student, or count what would be; says how many rows of each kind.

    Raises `Refused` where the student is still in the folder, is held, or was never known.
    """
    with desk.glance() as m:
        who = _known(m, student)
        sent = sorted(set(rows.sent_about(m.tx, who.chases, who.names)))
        received = sorted(set(rows.received_about(m.tx, who.checks, who.rounds, who.names)))
    work = Work(desk, student, by, really)
    for some in history.parts(sent, SLICE):
        work.slice(partial(_sent, who, some))
    for some in history.parts(received, SLICE):
        work.slice(partial(_received, work, who, some))
    work.slice(partial(_notices, work, who))
    work.slice(partial(_values, work, who))
    for some in history.parts(who.checks, SLICE):
        work.slice(partial(_checks, some))
    work.slice(partial(_entries, who))
    return work.done


def _known(m: Moment, student: str) -> Student:
    entry = rows.entry(m.tx, "students", student)
    checks = rows.checks_of(m.tx, student)
    if entry is None and not checks:
        raise Refused(f"no student {student!r} was ever here; give the id that the folder had")
    if entry is not None and entry.removed_at is None:
        raise Refused(f"{student} is in the folder; take the student out of it and apply it first")
    for held in holds.of(m.tx, student):
        raise Refused(f"{student} is under a {held.why} since {held.since:%Y-%m-%d}; `bellcheck hold` says more")
    body = entry.body if entry is not None else {}
    ids = tuple(id for id, _, _ in checks)
    told = [alias for _, _, alias in checks]
    names = {name for name in (body.get("alias", ""), *body.get("nicknames", ()), *told) if name}
    return Student(
        student,
        Names(tuple(sorted(names, key=lambda name: (-len(name), name)))),
        ids,
        tuple({round_id: None for _, round_id, _ in checks}),
        tuple(chase.id for chase in history.chases_about(m.tx, ids)),
        _gone_guardians(m, body.get("guardians", ())),
    )


def _gone_guardians(m: Moment, guardians: Sequence[str]) -> frozenset[str]:
    """Those guardians who are out of the folder as well."""
    entries = [rows.entry(m.tx, "people", id) for id in guardians]
    return frozenset(row.id for row in entries if row is not None and row.removed_at is not None)


def _sent(who: Student, ids: Sequence[str], m: Moment, taken: Forgotten) -> None:
    for row in rows.sent(m.tx, ids):
        about = set(row.body.get("students", ()))
        if about == {who.id} or row.person in who.guardians or _only_of(who, row.body.get("chases", ()), about):
            blank_sent(row, taken, address=row.person in who.guardians)
        else:
            unname_sent(row, who.names, taken)
        m.tx.add(row)


def _only_of(who: Student, chases: Sequence[str], about: set[str]) -> bool:
    """Whether a message that names no student spoke for chases of this one alone."""
    return not about and bool(chases) and set(chases) <= set(who.chases)


def _received(work: Work, who: Student, ids: Sequence[str], m: Moment, taken: Forgotten) -> None:
    found = rows.received(m.tx, ids)
    said = rows.students_of_words(m.tx, ids)
    beside = rows.students_of_rounds(m.tx, {row.round_id for row in found if row.round_id})
    about = [f"rg-{row.id}" for row in found if row.text == FORGOTTEN]
    for row in found:
        alone = said.get(row.id) or beside.get(row.round_id or "", set())
        if alone == {who.id} or row.person in who.guardians:
            blank_received(row, taken, address=row.person in who.guardians)
            about.append(f"rg-{row.id}")
        elif unname_received(row, who.names, taken):
            about.append(f"rg-{row.id}")
        m.tx.add(row)
    work.forget(m, taken, rows.values_about(m.tx, about))


def _notices(work: Work, who: Student, m: Moment, taken: Forgotten) -> None:
    about = []
    for row in rows.notices(m.tx):
        text = row.body.get("text", "")
        if row.body.get("student") == who.id:
            reword(row, FORGOTTEN, taken)
            about.append(row.id)
        elif who.names.in_words(text):
            reword(row, who.names.out_of(text), taken)
            about.append(row.id)
        m.tx.add(row)
    for mark in rows.corrections(m.tx):
        reword_correction(mark, who.names.out_of(mark.body["words"]), taken)
        m.tx.add(mark)
    work.forget(m, taken, rows.values_about(m.tx, about))


def _values(work: Work, who: Student, m: Moment, taken: Forgotten) -> None:
    """What is left that names the child, and why the records were held."""
    held = rows.values_about(m.tx, holds.keys_of(who.id))
    work.forget(m, taken, held | rows.values_naming(m.tx, who.names))


def _checks(ids: Sequence[str], m: Moment, taken: Forgotten) -> None:
    named = [check.id for check in history.checks_named(m.tx, ids).values() if check.alias or check.room]
    rows.unname_checks(m.tx, named)
    taken.counts["checks"] += len(named)


def _entries(who: Student, m: Moment, taken: Forgotten) -> None:
    empty_entries(m, "students", [who.id], taken)
    empty_entries(m, "people", sorted(who.guardians), taken)
