"""Turns calendar, routines, people and today's notices into rounds with due instants. Planning twice changes
nothing; planning again after a notice moves what was not yet asked and ends what has become pointless.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import partial
from typing import Any

from service.core.chains import Ended, Moved, Settled, Why, WoundUp
from service.core.days import NoSchool, SchoolDay
from service.core.district import Severity
from service.core.notices import away_on
from service.core.reading import Result
from service.core.routines import PlannedCheck, PlannedRound
from service.core.routines import rounds as rounds_of
from service.engine import chaser, holding, missed, results, road, shelves
from service.engine.desk import Desk, Ground, Moment, stream_of
from service.engine.stumbling import guarded
from service.store import chases, faults, marks, rounds, tray
from service.store.rounds import Place
from service.store.tables import CheckRow, RoundRow

DAYS_AHEAD = 1
"""Today and tomorrow are planned: a notice given in the evening finds tomorrow's rounds."""

HELD = -1
"""Said of a school, in place of how many checks were new, where another instance holds one of its days."""


@dataclass
class Redone:
    """What planning again has changed: rounds dropped or taken up again, checks at another place or added."""

    rounds: dict[str, str] = field(default_factory=dict)
    places: dict[str, tuple[str, int]] = field(default_factory=dict)


def plan_all(desk: Desk, on: date | None = None) -> int:
    """Plan every school; says how many checks were new."""
    return sum(each_school(desk, on))


def each_school(desk: Desk, on: date | None = None) -> Iterator[int]:
    """Plan school after school, a transaction each, and say of each how many checks were new: so that whoever
    plans may do in between what is due meanwhile.

    Schools of which nothing has changed since this desk planned them are passed over; `on` names one date, and
    passes over none. One that fails is marked, and planned the next time; those of which another instance holds a day
    come last.
    """
    with desk.glance() as m:
        grounds = _grounds(m)
    unplanned = {s: ground for s, ground in grounds.items() if on is not None or desk.planned.get(s) != ground}
    held = {}
    for school, ground in unplanned.items():
        new = _plan(desk, school, ground, on, waits=False)
        if new == HELD:
            held[school] = ground
        else:
            yield new
    for school, ground in held.items():
        yield _plan(desk, school, ground, on, waits=True)


def _plan(desk: Desk, school: str, ground: Ground, on: date | None, *, waits: bool) -> int:
    plan = partial(_plan_days, desk, school, ground, on, waits)
    return guarded(desk, desk.clock.now(), f"plan {school}", plan, lambda _: None)


def _grounds(m: Moment) -> dict[str, Ground]:
    """What the plan of each school rests upon."""
    every = [n.id for n in m.notices if not n.schools]
    own: dict[str, list[str]] = {school: [] for school in m.district.schools}
    for notice in m.notices:
        for school in own.keys() & set(notice.schools):
            own[school].append(notice.id)
    return {school: (m.book.version, m.today(school), *every, *ids) for school, ids in own.items()}


def _plan_days(desk: Desk, school: str, ground: Ground, on: date | None, waits: bool) -> int:
    new = 0
    with desk.moment() as m:
        if school not in m.district.schools:
            return 0
        first = on or m.today(school)
        days = [first + timedelta(days=ahead) for ahead in range(1 if on else DAYS_AHEAD + 1)]
        if waits:
            holding.days(m, [(school, day) for day in days])
        elif not holding.free_days(m, [(school, day) for day in days]):
            return HELD
        for day in days:
            new += plan_school(m, school, day, [], None)
        missed.planned_through(m, school, days[0], days[-1])
    if on is None:
        desk.planned[school] = ground
    return new


def plan_school(m: Moment, school: str, on: date, cause: Sequence[str], by: str | None) -> int:
    """Bring a school's plan of one date up to what is known now; says how many checks were new.

    The day is held already (`holding.days`).
    """
    day = m.day(school, on)
    planned = rounds_of(m.district, day, m.notices)
    known = rounds.is_planned(m.tx, school, on)
    existing = {row.id: row for row in rounds.of_day(m.tx, school, on)} if known else {}
    checks = rounds.places_of_day(m.tx, school, on) if known else {}
    fresh = [r for r in planned if r.id not in existing]
    new_rounds, new = rounds.insert_many(
        m.tx,
        [_round_values(r) for r in fresh],
        [_check_values(r, c) for r in planned for c in r.checks if c.id not in checks],
    )
    redone = Redone()
    if checks:
        _replan(m, day, planned, existing, checks, redone, cause or [_plan_id(school, on)], by)
    for r in planned:
        if r.id in existing:
            redone.places |= {c.id: (r.id, c.number) for c in r.checks if c.id not in checks}
    if new_rounds:
        _note(m, school, on, fresh, cause, by)
    if redone.places or redone.rounds:
        _note_redone(m, school, on, redone, cause, by)
    _mark_end(m, school, on, day, bool(planned or checks))
    shelves.mark(m, school, on, day)
    return new


def _replan(
    m: Moment,
    day: SchoolDay | NoSchool,
    planned: Sequence[PlannedRound],
    existing: Mapping[str, RoundRow],
    checks: Mapping[str, Place],
    redone: Redone,
    cause: Sequence[str],
    by: str | None,
) -> None:
    wanted = {c.id: (r, c) for r in planned for c in r.checks}
    changed = [id for id, held in checks.items() if not _stands(held, wanted.get(id), existing)]
    for check in sorted(rounds.checks_by_id(m.tx, changed).values(), key=lambda c: c.id):
        place = wanted.get(check.id)
        if place is None:
            end_pointless(m, day, check, cause, by)
        elif check.state == "planned" and not check.body.get("moved"):
            _move(m, check, *place, existing, redone)
        elif check.state == "asked":
            _shift_limits(m, check, place[0], existing, cause)
    used = {held.round_id for held in checks.values()}
    used |= {r.id for r in planned for c in r.checks if c.id not in checks}
    for row in existing.values():
        if row.state == "planned" and row.id not in used:
            row.state = redone.rounds[row.id] = "dropped"
            m.tx.add(row)


def _stands(
    held: Place, wanted: tuple[PlannedRound, PlannedCheck] | None, existing: Mapping[str, RoundRow]
) -> bool:
    """Whether a check is where and when the plan wants it, or has its result, so that nothing is to be done."""
    if held.state == "closed":
        return True
    if wanted is None:
        return False
    to, check = wanted
    row = existing.get(held.round_id)
    if held.state == "asked":
        return row is None or _due_of(row) == to.due
    return (held.round_id, held.number) == (to.id, check.number) and (row is None or row.state != "dropped")


def _due_of(row: RoundRow) -> datetime:
    """When a round is due, or would be after what has moved since it was asked."""
    moved: str | None = row.body.get("due")
    return datetime.fromisoformat(moved) if moved else row.due


def _move(
    m: Moment,
    check: CheckRow,
    planned: PlannedRound,
    place: PlannedCheck,
    existing: Mapping[str, RoundRow],
    redone: Redone,
) -> None:
    if (check.round_id, check.number) != (planned.id, place.number):
        check.round_id, check.number = redone.places[check.id] = planned.id, place.number
        m.tx.add(check)
    row = existing.get(planned.id)
    if row is not None and row.state == "dropped":
        row.state = redone.rounds[row.id] = "planned"
        m.tx.add(row)


def _shift_limits(
    m: Moment, check: CheckRow, planned: PlannedRound, existing: Mapping[str, RoundRow], cause: Sequence[str]
) -> None:
    """C10: what is asked keeps its chase, its limits counted from the new due time."""
    row = existing.get(check.round_id)
    if row is None:
        return
    by = planned.due - _due_of(row)
    if not by or check.body.get("moved"):
        return
    row.body = {**row.body, "due": planned.due.isoformat()}
    m.tx.add(row)
    for other in rounds.checks_of(m.tx, check.round_id):
        for chase in chaser.open_for(m, other.id, Why.SILENCE):
            chaser.apply(m, chase, Moved(by), cause)


def is_pointless(m: Moment, check: CheckRow) -> bool:
    """Whether nothing is to be asked: no school that day, the student away, or no such routine (any more)."""
    student = m.district.students.get(check.student)
    if isinstance(m.day(check.school, check.date), NoSchool) or student is None:
        return True
    planned = any(routine.id == check.routine for routine in student.routines)
    return not planned or away_on(check.student, check.date, m.notices, m.district, check.school)


def end_pointless(
    m: Moment, day: SchoolDay | NoSchool, check: CheckRow, cause: Sequence[str], by: str | None
) -> None:
    """C10: a notice has made the check pointless; those told hear it once."""
    gone = away_on(check.student, check.date, m.notices, m.district, check.school)
    result = Result.AWAY if gone and isinstance(day, SchoolDay) else Result.NO_CHECK
    reason = day.reason if isinstance(day, NoSchool) else "away" if gone else "plan changed"
    open_now = chaser.open_for(m, check.id)
    results.close(m, check.id, result, cause, by, reason)
    for row in open_now:
        if row.why == Why.SILENCE.value:
            chaser.apply(m, row, Settled(Ended.NO_CHECK, by), cause, by)
        elif gone and not chaser.is_emergency(row):
            chaser.apply(m, row, Settled(Ended.AWAY, by), cause, by)


def drop(m: Moment, planned: Sequence[RoundRow], cause: Sequence[str], by: str | None) -> None:
    """Ask these planned rounds no more, and tell the journal so, each day's by themselves."""
    of_day: dict[tuple[str, date], Redone] = {}
    for row in planned:
        row.state = of_day.setdefault((row.school, row.date), Redone()).rounds[row.id] = "dropped"
        m.tx.add(row)
    for (school, on), redone in sorted(of_day.items()):
        _note_redone(m, school, on, redone, cause, by)


def wind_up(m: Moment, school: str, by: str) -> None:
    """End all that is open at a school before it leaves the configuration: afterwards nothing is known of its
    bells, so that nobody could be told anything more.
    """
    days = [m.today(school) + timedelta(days=ahead) for ahead in range(DAYS_AHEAD + 1)]
    holding.days(m, [(school, day) for day in days])
    for day in days:
        for check in rounds.open_checks(m.tx, school, day):
            results.close(m, check.id, Result.NO_CHECK, [school], by, "plan changed")
        drop(m, [row for row in rounds.of_day(m.tx, school, day) if row.state == "planned"], [school], by)
        marks.drop(m.tx, f"day/{school}/{day.isoformat()}")
        shelves.drop(m, school, day)
    for id in [row.id for row in chases.open_of_school(m.tx, school)]:
        chase = chases.lock(m.tx, id)
        if chase is not None and chase.ended_at is None:
            emergency = chaser.is_emergency(chase)
            event = WoundUp(by) if emergency else Settled(Ended.NO_CHECK, by)
            chaser.apply(m, chase, event, [school], by)
    road.left(m, faults.all_of(m.tx, school=school, only_open=True), by)
    missed.drop(m, school)
    tray.drop_of_school(m.tx, school, "no_check")


def let_go(m: Moment, student: str, by: str) -> None:
    """End the fault chases of a student who leaves the configuration; those told hear it. An emergency stays."""
    for id in chases.open_faults_of(m.tx, student):
        row = chases.lock(m.tx, id)
        if row is not None and row.ended_at is None and not chaser.is_emergency(row):
            chaser.apply(m, row, Settled(Ended.NO_CHECK, by), [student], by)
    held = faults.locked_of(m.tx, student)
    road.left(m, [row for row in held if row.severity != Severity.EMERGENCY.value], by)


def _mark_end(m: Moment, school: str, on: date, day: SchoolDay | NoSchool, busy: bool) -> None:
    """The day's end is an instant of its own, at which silences become results."""
    key = f"day/{school}/{on.isoformat()}"
    if isinstance(day, SchoolDay) and busy:
        held = marks.instant(m.tx, key)
        ended = held is None and m.now >= day.last and not rounds.open_checks(m.tx, school, on)
        if not ended and held != day.last:
            marks.set(m.tx, key, day.last, {"school": school, "date": on.isoformat()})
    elif busy:
        marks.set(m.tx, key, m.now, {"school": school, "date": on.isoformat()})


def _round_values(planned: PlannedRound) -> dict[str, Any]:
    return {
        "id": planned.id,
        "school": planned.school,
        "date": planned.date,
        "due": planned.due,
        "checker": planned.checker,
        "second": planned.second,
        "body": {"before": planned.before or ""},
    }


def _check_values(planned: PlannedRound, check: PlannedCheck) -> dict[str, Any]:
    values: dict[str, Any] = {
        "id": check.id,
        "round_id": planned.id,
        "school": planned.school,
        "date": planned.date,
        "student": check.student,
        "routine": check.routine,
        "number": check.number,
        "alias": check.alias,
        "room": check.room,
        "kind": check.kind,
    }
    return {**values, "body": {"second": check.second}} if check.second else values


def _plan_id(school: str, on: date) -> str:
    """What the record calls the plan of a school's day; a change that nobody gave by name is because of it."""
    return f"plan-{school}-{on.isoformat()}"


def _note(
    m: Moment, school: str, on: date, planned: Sequence[PlannedRound], cause: Sequence[str], by: str | None
) -> None:
    """One entry for all rounds planned together."""
    m.note(
        stream_of(school, on),
        "plan",
        _plan_id(school, on),
        cause,
        by,
        rounds=[
            {
                "id": r.id,
                "school": r.school,
                "due": r.due.isoformat(),
                "checker": r.checker,
                "state": "planned",
                "students": [{"number": c.number, "check": c.id, "routine": c.routine} for c in r.checks],
            }
            for r in planned
        ],
    )


def _note_redone(
    m: Moment, school: str, on: date, redone: Redone, cause: Sequence[str], by: str | None
) -> None:
    id = _plan_id(school, on)
    places = {check: list(place) for check, place in redone.places.items()}
    m.note(stream_of(school, on), "replan", id, cause, by, rounds=redone.rounds, places=places)
