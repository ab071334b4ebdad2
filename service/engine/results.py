"""Checks and what is said about them: statements stored, the check's standing worked out, the journal written."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from service.core.checks import Standing, Statement, stand
from service.core.reading import Result
from service.core.sounds import Order
from service.engine.codec import decode, encode
from service.engine.desk import Moment, stream_of
from service.store import rounds, statements
from service.store.tables import CheckRow, StatementRow

UNSAID = (Result.UNANSWERED.value, Result.NOT_ASKED.value)
"""How a check stands whose day ended without a word about it."""


def say(
    m: Moment, check: CheckRow, statement: Statement, said_in: str | None, cause: Sequence[str], order: Order = ()
) -> Standing:
    """Record a statement and let the check stand as it now does; after its day closed it is kept beside (C15).

    `order` are the lines of the listening check that was spoken of, for the journal.
    """
    late = check.result in UNSAID
    kept = encode(replace(statement, late=late))
    statements.add(
        m.tx,
        StatementRow(check_id=check.id, at=m.now, person=statement.person, inbox_id=said_in, body=kept),
    )
    _note_said(m, check, kept, said_in, cause, order)
    if late:
        _keep_late(m, check)
        note(m, check, [*cause], statement.person, late=kept)
        return Standing(statement.result, statement.faults, statement.person, m.now)
    return restand(m, check, cause, statement.person)


def _note_said(
    m: Moment, check: CheckRow, said: dict[str, Any], said_in: str | None, cause: Sequence[str], order: Order
) -> None:
    """Tell the journal what was said, without what the entry says anyway or what nobody said."""
    shown: dict[str, Any] = {"order": list(order)} if order else {}
    told = {name: value for name, value in said.items() if value and name not in ("at", "person")}
    stream = stream_of(check.school, check.date)
    m.note(stream, "said", check.id, cause, said["person"], inbox=said_in, said=told, **shown)


def take_back(m: Moment, rows: Iterable[StatementRow], cause: Sequence[str], actor: str | None) -> None:
    """Take statements back; they stay, marked."""
    for row in rows:
        statements.retract(m.tx, row, m.now)
        check = rounds.check(m.tx, row.check_id)
        if check is not None:
            stream = stream_of(check.school, check.date)
            m.note(stream, "taken back", check.id, cause, actor, inbox=row.inbox_id)


def restand(m: Moment, check: CheckRow, cause: Sequence[str], actor: str | None) -> Standing:
    """Work out the check's standing from its statements and store it where it changed. A day that ended without
    a word stays so, whatever becomes of late answers (C15).
    """
    standing = standing_of(m, check)
    _keep_late(m, check)
    if standing.result is None and check.result in UNSAID:
        return standing
    faults = [encode(f) for f in standing.faults]
    result = standing.result.value if standing.result else None
    _keep_listened(m, check, standing)
    if (check.result, check.faults) != (result, faults) or check.state == "planned":
        check.result = result
        check.faults = faults
        check.by = standing.by
        check.result_at = standing.at
        check.state = "closed" if result else "asked"
        m.tx.add(check)
        note(m, check, cause, actor)
    return standing


def _keep_listened(m: Moment, check: CheckRow, standing: Standing) -> None:
    """Keep with the check what stands of the sounds; nothing where nobody spoke of them."""
    listened = {"listened": encode(standing.listened)} if standing.listened else {}
    missed = {"missed": list(standing.missed_sounds)} if standing.missed_sounds else {}
    check.body = {n: kept for n, kept in check.body.items() if n not in ("missed", "listened")} | missed | listened
    m.tx.add(check)


def _keep_late(m: Moment, check: CheckRow) -> None:
    """Show the last late answer that was not taken back beside the result."""
    late = [s.body for s in statements.of_check(m.tx, check.id) if s.body["late"]]
    beside = {"late": {"result": late[-1]["result"], "faults": late[-1]["faults"]}} if late else {}
    check.body = {name: kept for name, kept in check.body.items() if name != "late"} | beside
    m.tx.add(check)


def standing_of(m: Moment, check: CheckRow) -> Standing:
    """How the check stands by what was said and not taken back."""
    return stand(decode(Statement, row.body) for row in statements.of_check(m.tx, check.id))


def close(
    m: Moment, check_id: str, result: Result, cause: Sequence[str], by: str | None, reason: str | None = None
) -> None:
    """End a check that nobody answered: unanswered, not asked, no check, away by a notice."""
    check = rounds.check(m.tx, check_id)
    if check is None or check.state == "closed":
        return
    check.state = "closed"
    check.result = result.value
    check.by = by
    check.result_at = m.now
    if reason:
        check.body = {**check.body, "reason": reason}
    m.tx.add(check)
    note(m, check, cause, by)


def reopen(m: Moment, check: CheckRow, state: str, cause: Sequence[str]) -> None:
    """Open a check again: asked later, or after an emergency is over."""
    check.state = state
    check.result = None
    check.result_at = None
    check.by = None
    m.tx.add(check)
    note(m, check, cause, None)


def note(
    m: Moment, check: CheckRow, cause: Sequence[str], actor: str | None, late: dict[str, object] | None = None
) -> None:
    """Write the check's result into the journal; `stands_by` where the check stands by another's words."""
    more: dict[str, Any] = {"stands_by": check.by} if actor and actor != check.by else {}
    m.note(
        stream_of(check.school, check.date),
        "check",
        check.id,
        cause,
        actor,
        student=check.student,
        result=late["result"] if late else check.result,
        faults=late["faults"] if late else check.faults,
        by=actor or check.by,
        state=check.state,
        **(more | {"late": True} if late else more),
    )
