"""Asks rounds whose bell has come: checks become asked, their silence chases begin, the prompt goes."""

from collections.abc import Sequence
from datetime import datetime
from functools import partial

from service.core.chains import Scene, Subject, Turn, Why, begin_silence
from service.core.chains.climb import LATE, limit_end
from service.core.district import Chain, Student
from service.core.reading import Result
from service.core.silence import silence_turns
from service.engine import automatic, chaser, gathering, holding, results, summaries, trays
from service.engine.desk import Desk, Moment, no_collection, stream_of
from service.engine.stumbling import AGAIN, OURS, guarded
from service.store import rounds, tray
from service.store.batches import change
from service.store.tables import CheckRow, RoundRow

BATCH = 100


def ask_due(desk: Desk, now: datetime) -> int:
    """Ask every round that is due; says how many."""
    done = 0
    while True:
        try:
            with no_collection():
                asked = _batch(desk, now, BATCH)
        except OURS:
            raise
        except Exception:
            return done + _one_by_one(desk, now)
        done += asked
        if asked < BATCH:
            return done


def _batch(desk: Desk, now: datetime, at_most: int) -> int:
    with desk.moment(now) as m:
        due = holding.asked(m, rounds.due(m.tx, m.now, at_most), waits=at_most == 1)
        # By itself a round is asked only, so that what cannot be told holds up no asking.
        free = _free(m, due) if at_most > 1 else set()
        checks = _ask(m, due)
        if free:
            gathering.tell_asked(m, free, due, checks)
        return len(due)


def _free(m: Moment, due: Sequence[RoundRow]) -> set[str]:
    """The checkers whose prompts can go with what is decided here: nothing else waits for them or is about to."""
    people = {row.checker for row in due}
    return people - tray.chases_for(m.tx, people).keys() - rounds.due_beside(
        m.tx, people, m.now, {row.id for row in due}
    )


def _one_by_one(desk: Desk, now: datetime) -> int:
    """One of them fails: each by itself, so that the others are asked."""
    done = 0
    while True:
        with desk.moment(now) as m:
            due = rounds.due(m.tx, m.now, 1)
            id = due[0].id if due else None
        if id is None:
            return done
        done += guarded(desk, now, f"round {id}", partial(_batch, desk, now, 1), partial(_postpone, id))


def _postpone(id: str, m: Moment) -> None:
    row = rounds.get(m.tx, id)
    if row is not None:
        _put_off(m, row, m.now + AGAIN)


def _put_off(m: Moment, row: RoundRow, due: datetime) -> None:
    change(m.tx, row, due=due)
    m.note(stream_of(row.school, row.date), "put off", row.id, due=due.isoformat())


def _ask(m: Moment, due: Sequence[RoundRow]) -> list[CheckRow]:
    """Ask rounds together: what they need to know is read at once, what comes of it is written at once. Says the
    checks that were planned in them.
    """
    awake = [row for row in due if not _rests(m, row)]
    held = rounds.checks_of_rounds(m.tx, [row.id for row in awake])
    planned = {id: [c for c in checks if c.state == "planned"] for id, checks in held.items()}
    ids = chaser.next_ids(m, Why.SILENCE, [c.id for checks in planned.values() for c in checks])
    trays.look_up(m, {row.checker for row in awake}, ())
    for row in awake:
        late = m.now - row.due > LATE
        change(m.tx, row, state="asked", asked_at=m.now)
        m.note(stream_of(row.school, row.date), "asked", row.id)
        not_asked = [c for c in planned.get(row.id, ()) if not _begin(m, row, c, ids[c.id], late)]
        summaries.not_asked(m, row, not_asked)
    return [check for checks in planned.values() for check in checks]


def _rests(m: Moment, row: RoundRow) -> bool:
    """Whether the checker is left in peace after an emergency; the round then waits until that is over."""
    rest = m.resting.get(row.checker)
    if rest is None or rest <= m.now:
        return False
    _put_off(m, row, rest)
    return True


def _begin(m: Moment, row: RoundRow, check: CheckRow, id: str, late: bool) -> bool:
    """Ask one check, its silence chase being `id`; False where asking can no longer matter (C13)."""
    student = m.district.students.get(check.student)
    chain = m.chain(student, check.school, "silence") if student else None
    if student is None or chain is None:
        results.close(m, check.id, Result.NO_CHECK, [row.id], None, "plan changed")
        return True
    second = check.body.get("second") or row.second
    turns = _turns(m, chain, student, row, second)
    scene = m.scene(row.school, row.date)
    if late and (_is_over(turns, row.due, m.now, scene) or _is_asked_again(m, check, row.due)):
        results.close(m, check.id, Result.NOT_ASKED, [row.id], None, "too late to ask")
        return False
    change(m.tx, check, state="asked")
    subject = Subject(
        id, check.school, check.date, check.id, check.student, row.id, m.district.coordinators(check.school)
    )
    began = begin_silence(subject, chain, turns, m.now if late else row.due, m.now, scene)
    chaser.start(m, began, [row.id], None, None)
    if _is_absent(m, row):
        automatic.pass_on(m, id, row.checker, row.id)
    return True


def _is_absent(m: Moment, row: RoundRow) -> bool:
    """Whether a program has answered for the checker today, and they have not written since."""
    since = m.absent.get(row.checker)
    return since is not None and m.today_at(row.school, since) == row.date


def _turns(m: Moment, chain: Chain, student: Student, row: RoundRow, second: str | None) -> tuple[Turn, ...]:
    """The turns of a silence, worked out once for all of a round for whom they are the same."""
    known = (chain.id, student.school, student.guardians, row.checker, second, row.date)
    if known not in m.turns:
        settling = m.is_settling_in(row.school, row.date)
        m.turns[known] = silence_turns(m.district, chain, student, row.checker, second, settling)
    return m.turns[known]


def _is_asked_again(m: Moment, check: CheckRow, due: datetime) -> bool:
    """Whether a later round that is due by now asks the same about the student (C20)."""
    own = rounds.student_checks(m.tx, check.student, check.date, check.date)
    same = [c for c in own if c.id != check.id and c.kind == check.kind and c.state == "planned"]
    later = [row for c in same if (row := rounds.get(m.tx, c.round_id))]
    return any(due < row.due <= m.now for row in later)


def _is_over(turns: Sequence[Turn], due: datetime, now: datetime, scene: Scene) -> bool:
    """Whether the chain would have been climbed to its end, or the day is over."""
    if now >= scene.last:
        return True
    at: datetime | None = due
    for turn in turns:
        at = limit_end(turn.limit, at, scene) if at is not None else None
    return at is not None and at <= now
