"""One message instead of many: what a day left unanswered, what could not be asked."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from functools import partial
from typing import Any

from service.core.chains import DayOver, Ended, Purpose, Why
from service.core.district import Role
from service.core.reading import Result
from service.engine import chaser, holding, letters, missed, results, shelves, weekly
from service.engine.desk import Desk, Moment, stream_of
from service.engine.posting import ItemRef, Parcel, post
from service.engine.stumbling import AGAIN, guarded
from service.store import chases, marks, rounds
from service.store.tables import CheckRow, RoundRow
from service.wording import compose
from service.wording import letters as wording


def end_days(desk: Desk, now: datetime) -> int:
    """End every school day whose last bell has rung (C12), but for those another instance is at, and look at the
    shelves of some whose first bell has; says how many.
    """
    with desk.moment(now) as m:
        marked = [(mark.key, mark.body) for mark in marks.due(m.tx, "day/", m.now)]
        tell = (missed.next_due(m) or m.now + AGAIN) <= m.now
    due = [(key, body) for key, body in marked if body.get("what") is None]
    to_look = [(key, body) for key, body in marked if body.get("what") == shelves.WHAT][: shelves.AT_ONCE]
    done = sum(
        guarded(desk, now, key, partial(shelves.look, desk, now, key, body), partial(_postpone, key, body))
        for key, body in to_look
    )
    done += sum(
        guarded(desk, now, key, partial(_ended, desk, now, key, body), partial(_postpone, key, body))
        for key, body in due
    )
    return done + (guarded(desk, now, missed.KIND, partial(missed.tell, desk, now), missed.postpone) if tell else 0)


def _ended(desk: Desk, now: datetime, key: str, body: Mapping[str, Any]) -> int:
    with desk.moment(now) as m:
        school, on = body["school"], date.fromisoformat(body["date"])
        if not _is_over(m, key) or not holding.free_days(m, [(school, on)]) or not _is_over(m, key):
            return 0
        marks.drop(m.tx, key)
        m.note(stream_of(school, on), "day over", f"day-{school}-{on.isoformat()}")
        _end_day(m, school, on)
    return 1


def _is_over(m: Moment, key: str) -> bool:
    """Whether a day's end has come, and nobody has ended the day or moved its end meanwhile."""
    at = marks.instant(m.tx, key)
    return at is not None and at <= m.now


def _postpone(key: str, body: Mapping[str, Any], m: Moment) -> None:
    marks.set(m.tx, key, m.now + AGAIN, body)


def _end_day(m: Moment, school: str, on: date) -> None:
    for id in [row.id for row in chases.open_of_school(m.tx, school)]:
        row = chases.lock(m.tx, id)
        if row is not None and row.ended_at is None and row.date <= on:
            chaser.apply(m, row, DayOver(), [f"day-{school}-{on.isoformat()}"])
    for check in rounds.open_checks(m.tx, school, on):
        result = chaser.silent(m, check.id)
        results.close(m, check.id, result, [f"day-{school}-{on.isoformat()}"], None, "day over")
    left = [c for c in rounds.checks_of_day(m.tx, school, on) if _is_unsaid(c)]
    if left and on < m.today(school):
        unanswered = _unanswered(left)
        day = f"day-{school}-{on.isoformat()}"
        missed.keep(m, missed.Missed(school, on, unanswered, len(left) - unanswered, day))
    elif left:
        _tell(m, school, on, left)
    weekly.tell(m, school, on)


def _is_unsaid(check: CheckRow) -> bool:
    return check.result in (Result.UNANSWERED.value, Result.NOT_ASKED.value) and not check.body.get("summed")


def _unanswered(left: Sequence[CheckRow]) -> int:
    return sum(1 for c in left if c.result == Result.UNANSWERED.value)


def not_asked(m: Moment, row: RoundRow, checks: Sequence[CheckRow]) -> None:
    """C13: what could not be asked any more is in the coordinator's one summary, at the day's end."""
    for check in checks:
        check.body = {**check.body, "down": m.wall(row.school, row.due, row.date)}
        m.tx.add(check)


def _tell(m: Moment, school: str, on: date, left: Sequence[CheckRow]) -> None:
    """One message each to coordinator and audiologist, with all of them."""
    roles = (Role.COORDINATOR, Role.AUDIOLOGIST)
    people = {p.id: p for role in roles for p in m.district.holders(role, school)}
    unanswered = _unanswered(left)
    count = wording.SchoolCount(m.school(school).name, unanswered, len(left) - unanswered)
    down = next((c.body["down"] for c in left if c.body.get("down")), "")
    for _, person in sorted(people.items()):
        role = next(r.role for r in person.roles if r.role in roles)
        letter = wording.DayEnd(letters.reader_of(m, person, role), (count,), down)
        items = tuple(ItemRef(n, c.id, None, c.student, c.round_id) for n, c in enumerate(left, start=1))
        post(
            m,
            Parcel(
                key=f"day-end/{school}/{on.isoformat()}/{person.id}",
                person=person.id,
                role=role.value,
                purpose=Purpose.CHAIN_END,
                written=compose(letter, person.language),
                items=items,
                chases=tuple(_silences(m, left)),
                cause=(f"day-{school}-{on.isoformat()}",),
                stream=stream_of(school, on),
            ),
        )


def _silences(m: Moment, left: Sequence[CheckRow]) -> list[str]:
    return [
        row.id
        for check in left
        for row in chases.of_check(m.tx, check.id)
        if row.why == Why.SILENCE.value and Ended.UNANSWERED.value in str(row.body["chase"]["end"])
    ]
