"""Letting a held service go on, by somebody's word: either what is overdue is sent as after a downtime, or it is not.

Either way everything from the moment of the hold on is caught up with, and what nobody can know is said first.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta

from service.core.chains import Ended, Settled, Why
from service.core.days import SchoolDay
from service.core.reading import Result
from service.engine import chaser, held, holding, planner, postman, results
from service.engine.desk import Desk, Moment
from service.engine.held import Held
from service.store import chases, marks, outbox, rounds, tray
from service.store.tables import ChaseRow, CheckRow, RoundRow

RESTORED = "restored"
"""The reason by which what is not made up for is told in the record."""

DAYS_AT_MOST = 14
"""So many missed days are planned at most, so that their checks stand in the record as not asked."""


@dataclass(frozen=True)
class Unknown:
    """What may have happened in the time that the copy knows nothing of.

    `rounds` fell due in it and may have been asked; `checks` were asked before it and may have been answered in it;
    `chases` had somebody to tell in it; `messages` were on their way when the copy was made.
    """

    held: Held
    rounds: tuple[RoundRow, ...]
    checks: tuple[CheckRow, ...]
    chases: tuple[ChaseRow, ...]
    messages: tuple[str, ...]

    def lines(self, m: Moment) -> Iterator[str]:
        """The list for a person, in the clock of each school, without aliases."""
        for row in self.rounds:
            yield f"{self._at(m, row)}: {row.checker} may have been asked ({row.id})"
        for check in self.checks:
            yield f"{check.school}: {check.id} was asked before and may have been answered"
        for chase in self.chases:
            yield f"{chase.school}: more people may have been told ({chase.id}, {chase.phase})"
        for id in self.messages:
            yield f"{id} was about to leave and may have left"

    @staticmethod
    def _at(m: Moment, row: RoundRow) -> str:
        known = row.school in m.district.schools
        wall = m.wall(row.school, row.due) if known else f"{row.due:%H:%M} UTC"
        return f"{row.school} {row.date} {wall}"


@dataclass(frozen=True)
class Let:
    """What a release did: how much was left out of what fell due in the unknown time."""

    checks: int = 0
    chases: int = 0
    messages: int = 0


def unknown(m: Moment, state: Held) -> Unknown:
    """What may have happened between the copy and the moment it was put in place."""
    due = tuple(rounds.planned_until(m.tx, state.until))
    running = [row for row in chases.open_rows(m.tx) if row.wake_at is not None and row.wake_at <= state.until]
    waiting = [row.id for row in outbox.unfinished_until(m.tx, state.until)]
    return Unknown(state, due, tuple(rounds.asked_and_open(m.tx)), tuple(running), tuple(waiting))


def release(desk: Desk, *, send: bool, by: str) -> Let | None:
    """Let the service go on; None where it was not held. What was missed of whole days is planned first."""
    with desk.glance() as m:
        state = held.held_now(m)
    if state is None:
        return None
    _plan_missed(desk, state)
    with desk.moment() as m:
        still = held.held_now(m)
        if still is None:
            return None
        done = Let() if send else _leave_out(m, still, by)
        held.let_go(m)
        marks.set(m.tx, held.RELEASED, m.now, {"by": by, "send": send})
        m.note(
            held.STREAM, "released", held.HELD, [held.HELD], by, how="send" if send else "skip",
            since=state.since.isoformat() if state.since else None, until=state.until.isoformat(),
            checks=done.checks, chases=done.chases, messages=done.messages,
        )  # fmt: skip
    held.settle(desk)
    return done


def _plan_missed(desk: Desk, state: Held) -> None:
    """The days between, which nobody planned: their checks have a result, too."""
    if state.since is None:
        return
    first = max(state.since, state.until - timedelta(days=DAYS_AT_MOST)).date()
    for ahead in range((state.until.date() - first).days + 1):
        planner.plan_all(desk, first + timedelta(days=ahead))


def _leave_out(m: Moment, state: Held, by: str) -> Let:
    """Nothing is sent for the unknown time: its checks are not asked, silences end, faults go on as if no time had
    passed, and what was on its way stays here.
    """
    found = unknown(m, state)
    about = {(row.school, row.date) for row in found.rounds} | {(c.school, c.date) for c in found.checks}
    holding.days(m, {day for day in about if day[0] in m.district.schools})
    messages = postman.leave_out(m, state.until, RESTORED)
    tray.drop_due_until(m.tx, state.until, RESTORED)
    checks = [check for planned in found.rounds for check in rounds.checks_of(m.tx, planned.id)]
    planner.drop(m, found.rounds, [held.HELD], by)
    for check in (*checks, *found.checks):
        _not_asked(m, check, state, by)
    running = [row for id in chases.open_ids(m.tx) if (row := chases.lock(m.tx, id))]
    for chase in running:
        _go_on(m, chase, state, by)
    return Let(len(checks) + len(found.checks), len(running), messages)


def _not_asked(m: Moment, check: CheckRow, state: Held, by: str) -> None:
    results.close(m, check.id, Result.NOT_ASKED, [held.HELD], by, RESTORED)
    if check.school in m.district.schools:
        day = m.day(check.school, check.date)
        over = not isinstance(day, SchoolDay) or day.last <= state.until
        down = m.wall(check.school, state.since or state.until, check.date)
        check.body = {**check.body, "down": down, **({"summed": True} if over else {})}
        m.tx.add(check)


def _go_on(m: Moment, row: ChaseRow, state: Held, by: str) -> None:
    if row.why == Why.SILENCE.value:
        chaser.apply(m, row, Settled(Ended.NOT_ASKED, by), [held.HELD], by)
    else:
        chaser.stand_still(m, row, m.now - (state.since or state.until), [held.HELD], by)
