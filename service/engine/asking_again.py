"""Checks that could not be done now: asked at a later bell, of the second checker, or not today."""

from datetime import datetime, time

from service.core.chains import Cannot, Ended, Why
from service.core.days import SchoolDay, bell, clock
from service.core.reading import Outcome, Result, Then
from service.core.zones import zone
from service.engine import chaser, results
from service.engine.desk import Moment, stream_of
from service.engine.said import Decided, Said, end_silence, say
from service.store import rounds
from service.store.ahead import forget_all, look_again
from service.store.tables import CheckRow, RoundRow


def not_done(m: Moment, check: CheckRow, outcome: Outcome, said: Said) -> Decided:
    """Could not check: never counts as working, and leaves a fault that stands as it is. Where no later bell is left
    today, it is not done today.
    """
    if check.result == Result.FAULT.value:
        say(m, check, outcome, said)
        return Decided(check)
    again = _when(m, check, outcome) if outcome.then is Then.NEXT_BELL else None
    if again is not None:
        silent = [row.id for row in chaser.open_for(m, check.id, Why.SILENCE)]
        end_silence(m, check, Ended.ASK_LATER, said)
        ask_at(m, check, again, said.person, said.cause)
        return Decided(check, recorded=False, ask_at=again, chases=silent)
    if outcome.then is Then.SECOND:
        rows = chaser.open_for(m, check.id, Why.SILENCE)
        for row in rows:
            chaser.apply(m, row, Cannot(said.person), said.cause, said.person)
        return Decided(check, recorded=False, passed_on=bool(rows), chases=[r.id for r in rows])
    say(m, check, outcome, said)
    end_silence(m, check, Ended.ANSWERED, said)
    return Decided(check)


def _when(m: Moment, check: CheckRow, outcome: Outcome) -> datetime | None:
    """The bell asked for, by name or time; without one, the next bell of today."""
    day = m.day(check.school, check.date)
    if not isinstance(day, SchoolDay):
        return None
    named = bell(day, outcome.bell) if outcome.bell else None
    if named is None and outcome.bell and ":" in outcome.bell:
        named = clock(day, time.fromisoformat(outcome.bell))
    if named is None:
        named = min((b.start for b in day.bells if b.start > m.now), default=None)
    return named if named is not None and m.now < named < day.last else None


def ask_at(m: Moment, check: CheckRow, due: datetime, checker: str, cause: tuple[str, ...]) -> str:
    """Put a check into a round of its own kind, due later; it keeps its number where that is free."""
    before = rounds.get(m.tx, check.round_id)
    local = due.astimezone(zone(m.school(check.school).zone))
    id = f"rd-{check.school}-{check.date.isoformat()}-{local:%H%M}-{checker}"
    second = check.body.get("second") or (before.second if before else None)
    if rounds.get(m.tx, id) is None:
        row: dict[str, object] = {
            "id": id,
            "school": check.school,
            "date": check.date,
            "due": due,
            "checker": checker,
            "second": second if second != checker else None,
            "state": "planned",
            "asked_at": None,
            "body": {},
        }
        rounds.insert_many(m.tx, [row], [])
        look_again(m.tx)
    round_row = rounds.get(m.tx, id)
    if round_row is not None and round_row.state != "planned":
        round_row.state = "planned"
        round_row.due = due
        m.tx.add(round_row)
    taken = {c.number for c in rounds.checks_of(m.tx, id) if c.id != check.id}
    forget_all(m.tx)
    check.body = {**check.body, "moved": True, "was": [check.round_id, check.number]}
    check.round_id = id
    check.number = check.number if check.number not in taken else max(taken) + 1
    results.reopen(m, check, "planned", cause)
    _note(m, round_row, check, cause)
    return id


def put_back(m: Moment, check: CheckRow, cause: tuple[str, ...]) -> None:
    """Put a check that is not asked yet back into the round it was moved from; one that is asked stays."""
    was: tuple[str, int] | None = check.body.get("was")
    before = rounds.get(m.tx, was[0]) if was else None
    if check.state != "planned" or was is None or before is None:
        return
    forget_all(m.tx)
    check.round_id, check.number = was
    check.body = {name: kept for name, kept in check.body.items() if name not in ("moved", "was")}
    results.reopen(m, check, "asked" if before.state == "asked" else "planned", cause)
    _note(m, before, check, cause)


def _note(m: Moment, row: RoundRow | None, check: CheckRow, cause: tuple[str, ...]) -> None:
    if row is None:
        return
    student = {
        "number": check.number,
        "check": check.id,
        "routine": check.routine,
    }
    m.note(
        stream_of(check.school, check.date),
        "plan",
        row.id,
        cause,
        None,
        rounds=[
            {
                "id": row.id,
                "school": row.school,
                "due": row.due.isoformat(),
                "checker": row.checker,
                "state": row.state,
                "students": [student],
            }
        ],
        places={check.id: [row.id, check.number]},
    )
