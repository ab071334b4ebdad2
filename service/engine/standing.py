"""What somebody may say without being asked: a fault at any time, an answer before the bell, a child's return."""

from collections.abc import Sequence

from service.core.notices import Notice, away_on, read_notice
from service.core.reading import Result
from service.engine import asking_again, notices, results
from service.engine.desk import Moment, stream_of
from service.store import rounds
from service.store.tables import CheckRow

BACK = "back"


def todays_check(m: Moment, student: str) -> CheckRow | None:
    """Today's check of a student that words said now are about: the open one, else the next, else the last."""
    held = m.district.students[student]
    today = m.today(held.school)
    own = rounds.student_checks(m.tx, student, today, today)
    due = {c.id: row.due for c in own if (row := rounds.get(m.tx, c.round_id))}
    order = {"asked": 0, "planned": 1, "closed": 2}
    ranked = sorted(
        (c for c in own if c.id in due),
        key=lambda c: (order[c.state], abs((due[c.id] - m.now).total_seconds()), c.id),
    )
    return next(iter(ranked), None)


def reported(m: Moment, person: str, student: str) -> CheckRow:
    """The check that a fault reported now belongs to; where today has none, one of its own is made for it."""
    known = todays_check(m, student)
    if known is not None:
        return known
    held = m.district.students[student]
    today = m.today(held.school)
    id, round_id = f"ck-{student}-reported-{today}", f"rd-{held.school}-{today}-reported-{person}-{student}"
    round_row: dict[str, object] = {
        "id": round_id, "school": held.school, "date": today, "due": m.now, "checker": person,
        "second": None, "state": "asked", "asked_at": m.now, "body": {"reported": True},
    }  # fmt: skip
    check: dict[str, object] = {
        "id": id, "round_id": round_id, "school": held.school, "date": today, "student": student,
        "routine": "reported", "number": 1, "alias": held.alias, "room": held.room, "kind": "daily",
        "state": "asked", "result": None, "result_at": None, "by": None, "faults": [], "body": {},
    }  # fmt: skip
    rounds.insert_many(m.tx, [round_row], [check])
    listed = [{"number": 1, "check": id, "routine": "reported"}]
    planned = {"id": round_id, "school": held.school, "due": m.now.isoformat(), "checker": person,
               "state": "asked"}
    m.note(
        stream_of(held.school, today), "plan", f"plan-{round_id}", [], person,
        rounds=[{**planned, "students": listed}],
    )  # fmt: skip
    made = rounds.check(m.tx, id)
    if made is None:
        raise KeyError(id)
    return made


def is_away(m: Moment, student: str) -> bool:
    """Whether the student counts as away now: by a notice, or because somebody answered so."""
    held = m.district.students[student]
    today = m.today(held.school)
    if away_on(student, today, m.notices, m.district, held.school):
        return True
    own = rounds.student_checks(m.tx, student, today, today)
    return any(c.result == Result.AWAY.value for c in own)


def comes_back(m: Moment, person: str, student: str, cause: Sequence[str]) -> bool:
    """A child has come after all: checked on arrival, once. False where today has no check to do (any more)."""
    held = m.district.students[student]
    today = m.today(held.school)
    if m.now >= m.scene(held.school, today).last:
        return False
    if away_on(student, today, m.notices, m.district, held.school):
        read = read_notice(f"{BACK} {student}", m.district, person, m.now, today, school=held.school)
        if isinstance(read, Notice):
            notices.give(m, read, cause)
    own = rounds.student_checks(m.tx, student, today, today)
    missed = [c for c in own if _was_missed(m, c)]
    for check in missed[:-1]:
        results.close(m, check.id, Result.AWAY, cause, person, "away")
    if not missed:
        return False
    asking_again.ask_at(m, missed[-1], m.now, person, tuple(cause))
    return True


def _was_missed(m: Moment, check: CheckRow) -> bool:
    row = rounds.get(m.tx, check.round_id)
    if row is None or row.due > m.now:
        return False
    return check.state == "planned" or check.result == Result.AWAY.value
