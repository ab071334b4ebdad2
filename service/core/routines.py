"""Rounds of a day: who is asked about whom, and when.

One message per adult and due minute. What the plan decides:

* A check is due in its minute. It may be due up to an hour before the first bell; from the last bell on there
  is nobody to ask any more.
* A swap exchanges two adults for the day, as checkers and as seconds.
* A dated deputy stands in on those dates, a general one whenever the checker is away, has left or does not
  work on that weekday; deputies' own deputies follow. With no deputy there, the second is asked, and has no
  second then. With nobody there at all the checker stays: the chase passes them over and says so.
* Two routines of one student that would ask one adult in the same minute, or for the same kind of check
  within ten minutes, are asked once: as the fuller kind, then the earlier, then the one configured first.
"""

from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import NamedTuple

from service.core.days import NoSchool, SchoolDay, bell, clock
from service.core.district import ChainChoice, ContactKind, Deputy, District, Limit, Routine, Student, When
from service.core.notices import Notice, NoticeKind, away_on
from service.core.zones import zone

EARLIEST = timedelta(minutes=60)
"""How long before the first bell a check may be due."""
SAME_QUESTION = timedelta(minutes=10)
"""Two checks of one kind this close ask the same thing."""
SOON = timedelta(minutes=5)
"""A bell that comes sooner than this is no limit (rule C11)."""


class Why(StrEnum):
    """Why a routine of today makes no check."""

    AWAY = "the student is away"
    NO_BELL = "its bell does not ring today"
    TOO_EARLY = "it is due more than an hour before the first bell"
    TOO_LATE = "it is due after the last bell"
    ASKED_ALREADY = "the same adult is asked about the student at that time already"


@dataclass(frozen=True, slots=True)
class PlannedCheck:
    """One student × one routine × one date. `number` is the student's in the message, from 1; `second` is the
    student's own second checker, where the round's students have different ones.
    """

    id: str
    student: str
    routine: str
    number: int
    alias: str
    kind: str
    room: str
    second: str | None = None


@dataclass(frozen=True)
class PlannedRound:
    """The checks one adult is asked about in one message. `due` and `answer_by` are UTC; `answer_by` is when
    the next person of the silence chain would be told. `before` is the bell that all of them come before.
    """

    id: str
    school: str
    date: date
    due: datetime
    checker: str
    second: str | None
    checks: tuple[PlannedCheck, ...]
    answer_by: datetime
    before: str | None = None


@dataclass(frozen=True)
class Unplanned:
    """A routine that should be done on this date and is not asked for, and why."""

    student: str
    routine: str
    why: Why


class _Asking(NamedTuple):
    routine: Routine
    due: datetime
    checker: str
    second: str | None


class _Wish(NamedTuple):
    """What some routines come to on a day: those meant for it, those asked, and those left out."""

    today: tuple[Routine, ...]
    asked: tuple[_Asking, ...]
    left_out: tuple[tuple[str, Why], ...]


class _Candidate(NamedTuple):
    student: Student
    routine: Routine
    due: datetime
    checker: str
    second: str | None


def rounds(
    district: District,
    school_day: SchoolDay | NoSchool,
    notices: Sequence[Notice] = (),
    gone: Container[str] = (),
) -> tuple[PlannedRound, ...]:
    """The rounds of `school_day`, in order of due time and checker; a day without school has none.

    `gone` holds ids of adults and students who are not there whatever the notices say.
    """
    if isinstance(school_day, NoSchool):
        return ()
    planned, _ = _plan(district, school_day, notices, gone)
    together: dict[tuple[datetime, str], list[_Candidate]] = {}
    for candidate in planned:
        together.setdefault((candidate.due, candidate.checker), []).append(candidate)
    limits = _Limits(district, school_day)
    where = zone(school_day.zone)
    walls = {due: f"{due.astimezone(where):%H%M}" for due, _ in together}
    return tuple(_round(school_day, together[key], walls[key[0]], limits) for key in sorted(together))


def unplanned(
    district: District,
    school_day: SchoolDay | NoSchool,
    notices: Sequence[Notice] = (),
    gone: Container[str] = (),
) -> tuple[Unplanned, ...]:
    """The routines meant for this weekday and cycle day that make no check, by student and routine."""
    if isinstance(school_day, NoSchool):
        return ()
    _, left_out = _plan(district, school_day, notices, gone)
    return tuple(sorted(left_out, key=lambda u: (u.student, u.routine)))


def _plan(
    district: District, day: SchoolDay, notices: Sequence[Notice], gone: Container[str]
) -> tuple[list[_Candidate], list[Unplanned]]:
    about = _subjects(notices)
    wishes = _Wishes(day, _Adults(district, day, notices, gone))
    planned: list[_Candidate] = []
    left_out: list[Unplanned] = []
    for student in district.students_of.get(day.school, ()):
        wish = wishes.of(student.routines)
        if student.id in gone or (
            student.id in about and away_on(student.id, day.date, about[student.id], district, day.school)
        ):
            left_out.extend(Unplanned(student.id, r.id, Why.AWAY) for r in wish.today)
        else:
            planned.extend(_Candidate(student, *asked) for asked in wish.asked)
            left_out.extend(Unplanned(student.id, routine, why) for routine, why in wish.left_out)
    return planned, left_out


def _subjects(notices: Sequence[Notice]) -> dict[str, list[Notice]]:
    about: dict[str, list[Notice]] = {}
    for notice in notices:
        if notice.subject is not None and notice.kind in (NoticeKind.AWAY, NoticeKind.BACK):
            about.setdefault(notice.subject, []).append(notice)
    return about


def _is_for(routine: Routine, day: SchoolDay, weekday: int) -> bool:
    on_weekday = not routine.weekdays or weekday in routine.weekdays
    return on_weekday and (not routine.cycle_days or day.cycle_day in routine.cycle_days)


def _asked_once(asked: Sequence[_Asking]) -> tuple[list[_Asking], list[_Asking]]:
    kept: list[_Asking] = []
    doubled: list[_Asking] = []
    for candidate in sorted(asked, key=lambda c: (c.routine.kind != "full", c.due)):
        again = any(_same_question(candidate, other) for other in kept)
        (doubled if again else kept).append(candidate)
    return kept, doubled


def _same_question(one: _Asking, other: _Asking) -> bool:
    if one.checker != other.checker:
        return False
    if one.due == other.due:
        return True
    return one.routine.kind == other.routine.kind and abs(one.due - other.due) <= SAME_QUESTION


class _Wishes:
    """What a student's routines come to on a day, worked out once for all who share them."""

    def __init__(self, day: SchoolDay, adults: "_Adults") -> None:
        self._day, self._adults, self._dues = day, adults, _Dues(day)
        self._weekday = day.date.isoweekday()
        self._known: dict[int, _Wish] = {}

    def of(self, routines: tuple[Routine, ...]) -> _Wish:
        # By identity, which is as good and much cheaper: they stay where they are while a day is planned.
        wish = self._known.get(id(routines))
        if wish is None:
            wish = self._known[id(routines)] = self._work_out(routines)
        return wish

    def _work_out(self, routines: tuple[Routine, ...]) -> _Wish:
        today = tuple(r for r in routines if _is_for(r, self._day, self._weekday))
        asked: list[_Asking] = []
        left_out: list[tuple[str, Why]] = []
        for routine in today:
            due = self._dues.of(routine.when)
            if isinstance(due, Why):
                left_out.append((routine.id, due))
            else:
                asked.append(_Asking(routine, due, *self._adults.for_routine(routine)))
        kept, doubled = _asked_once(asked)
        left_out.extend((asking.routine.id, Why.ASKED_ALREADY) for asking in doubled)
        return _Wish(today, tuple(kept), tuple(left_out))


class _Dues:
    """Due instants of a day, worked out once for each way of saying when."""

    def __init__(self, day: SchoolDay) -> None:
        self._day = day
        self._known: dict[When, datetime | Why] = {}

    def of(self, when: When) -> datetime | Why:
        if when not in self._known:
            self._known[when] = self._work_out(when)
        return self._known[when]

    def _work_out(self, when: When) -> datetime | Why:
        day = self._day
        rung = bell(day, when.bell, when.edge, when.variant) if when.bell is not None else None
        named = rung if when.at is None else clock(day, when.at)
        if named is None:
            return Why.NO_BELL
        due = (named + when.offset).replace(second=0, microsecond=0)
        if due < day.first - EARLIEST:
            return Why.TOO_EARLY
        return due if due < day.last else Why.TOO_LATE


class _Adults:
    """Who asks on a day in place of whom, worked out once for each checker and second."""

    def __init__(
        self, district: District, day: SchoolDay, notices: Sequence[Notice], gone: Container[str]
    ) -> None:
        self._district, self._day, self._gone = district, day, gone
        self._about = _subjects(notices)
        self._swapped = _swaps(notices, day)
        self._known: dict[tuple[str, str | None], tuple[str, str | None]] = {}
        self._present: dict[str, bool] = {}

    def for_routine(self, routine: Routine) -> tuple[str, str | None]:
        asked = (routine.checker, routine.second)
        if asked not in self._known:
            self._known[asked] = self._stand_in(*asked)
        return self._known[asked]

    def _stand_in(self, checker: str, second: str | None) -> tuple[str, str | None]:
        checker = self._swapped.get(checker, checker)
        second = self._swapped.get(second, second) if second else None
        deputy = next(self._deputies(checker, {checker}), None)
        if deputy is not None:
            return deputy, second if second != deputy else None
        if self._there(checker) or second is None or not self._there(second):
            return checker, second
        return second, None

    def _deputies(self, who: str, seen: set[str]) -> Iterator[str]:
        person = self._district.people.get(who)
        fitting = sorted(
            (d for d in (person.deputies if person else ()) if self._applies(d, who)),
            key=lambda d: d.span is None,
        )
        for deputy in fitting:
            if deputy.person in seen:
                continue
            seen.add(deputy.person)
            if self._there(deputy.person):
                yield deputy.person
            yield from self._deputies(deputy.person, seen)

    def _applies(self, deputy: Deputy, who: str) -> bool:
        return deputy.span.holds(self._day.date) if deputy.span else not self._there(who)

    def _there(self, who: str) -> bool:
        if who not in self._present:
            self._present[who] = self._at_work(who)
        return self._present[who]

    def _at_work(self, who: str) -> bool:
        today = self._day.date
        if who in self._gone:
            return False
        person = self._district.people.get(who)
        if person is not None:
            if person.left_on is not None and person.left_on <= today:
                return False
            if person.hours is not None and today.isoweekday() not in person.hours.days:
                return False
        return not away_on(who, today, self._about.get(who, ()), self._district, self._day.school)


def _swaps(notices: Sequence[Notice], day: SchoolDay) -> Mapping[str, str]:
    standing = [n for n in notices if n.kind is NoticeKind.SWAP and n.holds(day.school, day.date)]
    now: dict[str, str] = {}
    for notice in sorted(standing, key=lambda n: (n.at, n.id)):
        if notice.person is not None and notice.other is not None:
            exchanged = {notice.person: notice.other, notice.other: notice.person}
            now = {who: exchanged.get(now.get(who, who), now.get(who, who)) for who in {*now, *exchanged}}
    return now


class _Limits:
    """How long the checker of a student has on a day, by the silence chain that serves the student."""

    def __init__(self, district: District, day: SchoolDay) -> None:
        self._district, self._day = district, day
        self._known: dict[tuple[ChainChoice | None, datetime], datetime] = {}

    def answer_by(self, student: Student, due: datetime) -> datetime:
        asked = (student.chains, due)
        if asked not in self._known:
            self._known[asked] = self._work_out(self._limit(student.chains), due)
        return self._known[asked]

    def _work_out(self, limit: Limit | None, due: datetime) -> datetime:
        if limit is None:
            return self._day.last
        if limit.bell is not None:
            rung = bell(self._day, limit.bell, limit.edge)
            return rung if rung is not None and rung - due >= SOON else due + limit.otherwise
        return due + limit.span if limit.span is not None else self._day.last

    def _limit(self, own: ChainChoice | None) -> Limit | None:
        choices = (own, self._district.schools[self._day.school].chains, self._district.choice)
        named = next((c.silence for c in choices if c is not None and c.silence is not None), None)
        chain = self._district.chains.get(named) if named is not None else None
        steps = chain.steps if chain is not None else ()
        return next((s.limit for s in steps if s.contact.kind is ContactKind.CHECKER), None)


def _round(day: SchoolDay, candidates: list[_Candidate], wall: str, limits: _Limits) -> PlannedRound:
    ordered = sorted(candidates, key=lambda c: (c.student.room, c.student.alias, c.student.id))
    due, checker, on = ordered[0].due, ordered[0].checker, day.date.isoformat()
    checks = tuple(
        PlannedCheck(
            id=f"ck-{c.student.id}-{c.routine.id}-{on}", student=c.student.id, routine=c.routine.id,
            number=number, alias=c.student.alias, kind=c.routine.kind, room=c.student.room, second=c.second,
        )
        for number, c in enumerate(ordered, start=1)
    )  # fmt: skip
    return PlannedRound(
        id=f"rd-{day.school}-{on}-{wall}-{checker}", school=day.school, date=day.date, due=due,
        checker=checker, second=next((c.second for c in ordered if c.second), None), checks=checks,
        answer_by=min(limits.answer_by(c.student, due) for c in ordered), before=_before(ordered),
    )  # fmt: skip


def _before(candidates: Sequence[_Candidate]) -> str | None:
    bells = {c.routine.when.bell if c.routine.when.offset <= timedelta() else None for c in candidates}
    return bells.pop() if len(bells) == 1 else None
