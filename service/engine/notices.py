"""Gives and withdraws notices: stored, journalled with their author, and at once taken into every plan."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from service.core.chains import Away, Ended, Settled
from service.core.notices import Notice, NoticeKind
from service.engine import chaser, holding, planner
from service.engine.codec import decode, encode
from service.engine.desk import Moment
from service.store import chases, notices, rounds
from service.store.tables import NoticeRow

NOTICES = "notices"
"""The journal stream of notices."""


@dataclass(frozen=True)
class Reach:
    """Whom a notice reaches: schools, dates, checks already planned, and how many of them were asked."""

    schools: tuple[str, ...]
    days: tuple[date, ...]
    planned: int
    asked: int


def reach(m: Moment, notice: Notice) -> Reach:
    """What a notice would touch, shown before it is given."""
    schools = _schools(m, notice)
    days = tuple(_days(notice))
    open_checks = [c for s in schools for d in days for c in rounds.open_checks(m.tx, s, d)]
    about = [c for c in open_checks if notice.student in (None, c.student)]
    asked = sum(1 for c in about if c.state == "asked")
    return Reach(schools, days, len(about) - asked, asked)


def give(m: Moment, notice: Notice, cause: Sequence[str]) -> Reach:
    """Give a notice: it takes effect on checks already planned and on prompts already sent (C10)."""
    touched = reach(m, notice)
    row = NoticeRow(
        id=notice.id,
        body=encode(notice),
        first=notice.first,
        last=notice.last,
        given_at=m.now,
        by=notice.by,
    )
    if not notices.add(m.tx, row):
        return touched
    m.note(NOTICES, "notice", notice.id, cause, notice.by, words=notice.text, says=_unworded(notice))
    _take_effect(m, notice, [*cause, notice.id], notice.by)
    _absent(m, notice, [*cause, notice.id])
    return touched


def _unworded(notice: Notice) -> dict[str, Any]:
    """What a notice says, without the words it was given in: those must be forgettable."""
    said: dict[str, Any] = encode(replace(notice, text=""))
    return {name: value for name, value in said.items() if value}


def withdraw(m: Moment, id: str, by: str, cause: Sequence[str]) -> Reach | None:
    """Withdraw a notice: what was not yet asked is planned again. None where there is no such notice."""
    row = notices.get(m.tx, id)
    if row is None or not notices.withdraw(m.tx, id, m.now):
        return None
    notice = decode(Notice, row.body)
    m.note(NOTICES, "notice", id, cause, by, withdrawn=True)
    _take_effect(m, notice, [*cause, id], by)
    return reach(m, notice)


def _take_effect(m: Moment, notice: Notice, cause: Sequence[str], by: str) -> None:
    m.forget()
    touched = [(s, d) for s in _schools(m, notice) for d in _days(notice) if _is_planned(m, s, d)]
    holding.days(m, touched)
    for school, day in touched:
        planner.plan_school(m, school, day, cause, by)


def _absent(m: Moment, notice: Notice, cause: Sequence[str]) -> None:
    """Somebody is away: an adult's turn passes on, a student's faults can wait."""
    today = m.today(_schools(m, notice)[0])
    if notice.kind is not NoticeKind.AWAY or not notice.first <= today <= notice.last:
        return
    if notice.person:
        _pass_on(m, notice.person, _schools(m, notice), cause)
    if notice.student:
        _gone_home(m, notice.student, cause, notice.by)


def _is_planned(m: Moment, school: str, day: date) -> bool:
    return m.today(school) <= day <= m.today(school) + timedelta(days=planner.DAYS_AHEAD)


def _pass_on(m: Moment, person: str, schools: Iterable[str], cause: Sequence[str]) -> None:
    """A person away: their current step passes on at once."""
    for school in schools:
        for id in [row.id for row in chases.open_of_school(m.tx, school)]:
            row = chases.lock(m.tx, id)
            if row is not None and row.ended_at is None:
                chaser.apply(m, row, Away(person), cause)


def _gone_home(m: Moment, student: str, cause: Sequence[str], by: str) -> None:
    """C7: nobody need see to the fault of a child who is not at school; an emergency stays."""
    for id in chases.open_faults_of(m.tx, student):
        row = chases.lock(m.tx, id)
        if row is not None and row.ended_at is None and not chaser.is_emergency(row):
            chaser.apply(m, row, Settled(Ended.AWAY, by), cause, by)


def _schools(m: Moment, notice: Notice) -> tuple[str, ...]:
    student = m.district.students.get(notice.student or "")
    if student is not None:
        return (student.school,)
    return notice.schools or tuple(m.district.schools)


def _days(notice: Notice) -> Iterable[date]:
    day = notice.first
    while day <= notice.last and (day - notice.first).days < 400:
        yield day
        day += timedelta(days=1)
