"""The rows that a stream of the journal speaks of, in the shape in which they are held against it."""

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from sqlalchemy import func, null
from sqlmodel import Session, col, select

from service.store.history import parts
from service.store.tables import (
    AddresseeRow,
    ChaseRow,
    CheckRow,
    ConfigVersion,
    FaultRow,
    InboxRow,
    JournalValue,
    NoticeRow,
    OutboxRow,
    RoundRow,
    Row,
    ServiceMark,
    StatementRow,
    SupplyCount,
    table_of,
)

Columns = Mapping[str, Any]

STATEMENTS, VALUES = "statements", "journal_values"
"""Tables that are only counted beside the others."""

PART = 1000

UNSENT = ("waiting", "claimed")

KINDS: Mapping[str, tuple[type[Row], str]] = {
    "rounds": (RoundRow, "id"),
    "checks": (CheckRow, "id"),
    "chases": (ChaseRow, "id"),
    "faults": (FaultRow, "id"),
    "messages": (OutboxRow, "id"),
    "inbox": (InboxRow, "id"),
    "notices": (NoticeRow, "id"),
    "versions": (ConfigVersion, "n"),
    "addressees": (AddresseeRow, "person"),
    "holds": (ServiceMark, "key"),
    "counts": (SupplyCount, "id"),
}
"""The tables that replay speaks of, each with its key."""

WANTED: Mapping[str, tuple[str, ...]] = {
    "rounds": ("due", "checker", "state", "asked_at"),
    "checks": ("round_id", "number", "routine", "student", "state", "result", "by", "faults", "body"),
    "chases": ("why", "severity", "step", "phase", "ended_at", "student", "body"),
    "faults": (
        "student",
        "code",
        "stage",
        "severity",
        "side",
        "holder",
        "promised",
        "lent",
        "closed_at",
        "note",
        "body",
    ),
    "messages": ("key", "person", "purpose", "state", "created_at", "accepted_at"),
    "inbox": ("state", "person", "text"),
    "notices": ("body", "by", "withdrawn_at"),
    "versions": ("digest", "by"),
    "addressees": ("epoch",),
    "holds": ("at", "body"),
    "counts": ("shelf", "at", "by", "pieces", "on_order"),
}

WHEN: Mapping[str, str] = {
    "rounds": "date",
    "checks": "date",
    "chases": "date",
    "faults": "date",
    "messages": "created_at",
    "inbox": "received_at",
    "notices": "given_at",
    "holds": "at",
    "versions": "applied_at",
    "counts": "at",
}
"""The column that says of when a row is."""


@dataclass
class Found:
    """Rows by table and id, and the statements about each check in the order said."""

    rows: dict[str, dict[str, Columns]] = field(default_factory=lambda: {table: {} for table in KINDS})
    statements: dict[str, list[Columns]] = field(default_factory=dict)


def load(tx: Session, stream: str, named: Mapping[str, Collection[str]]) -> Found:
    """What there is in the tables of a stream's day, and of the ids its entries have `named` by table."""
    found = Found()
    day = day_of(stream)
    if day is not None:
        found.rows["rounds"] = _of_day(tx, "rounds", *day)
        found.rows["checks"] = _of_day(tx, "checks", *day)
        found.statements = _statements(tx, found.rows["checks"].keys())
        found.rows["chases"] = _by(tx, "chases", "check_id", found.rows["checks"].keys())
    for table in KINDS:
        if day is None or table not in ("rounds", "checks"):
            missing = set(named.get(table, ())) - found.rows[table].keys()
            found.rows[table] |= _by(tx, table, KINDS[table][1], missing)
    return found


def day_of(stream: str) -> tuple[str, date] | None:
    """School and date of a stream; None for those of the whole service."""
    school, _, day = stream.rpartition("/")
    try:
        return (school, date.fromisoformat(day)) if school else None
    except ValueError:
        return None


def count(tx: Session, table: str) -> int:
    """How many rows a table holds that the journal must tell of."""
    chosen = _told_of(select(func.count()).select_from(_table(table)), table)
    return int(tx.connection().execute(chosen).scalar_one())


def ids(tx: Session, table: str) -> Iterator[tuple[str, date | datetime | None]]:
    """The ids of a table's rows that the journal must tell of, and of when each is; in their order."""
    t = _table(table)
    key, when = t.c[KINDS[table][1]], t.c[WHEN[table]] if table in WHEN else null()
    last: Any = None
    while True:
        chosen = _told_of(select(key, when), table).order_by(key).limit(PART)
        if last is not None:
            chosen = chosen.where(key > last)
        part = tx.connection().execute(chosen).all()
        yield from ((str(id), at) for id, at in part)
        if len(part) < PART:
            return
        last = part[-1][0]


def _told_of(chosen: Any, table: str) -> Any:
    """Only those rows that the journal must tell of."""
    if table == "inbox":
        return chosen.where(col(InboxRow.state) != "unread")
    if table == "holds":
        return chosen.where(col(ServiceMark.key).startswith("hold/"))
    return chosen.where(col(AddresseeRow.epoch) > 0) if table == "addressees" else chosen


def _table(table: str) -> Any:
    beside: Mapping[str, type[Row]] = {STATEMENTS: StatementRow, VALUES: JournalValue}
    return table_of(beside[table] if table in beside else KINDS[table][0])


def _of_day(tx: Session, table: str, school: str, day: date) -> dict[str, Columns]:
    t = _table(table)
    return _shaped(tx, table, select(*_columns(table)).where(t.c.school == school, t.c.date == day))


def _by(tx: Session, table: str, column: str, wanted: Collection[str]) -> dict[str, Columns]:
    """Rows by what a column holds; `wanted` are words also where the column holds numbers."""
    t = _table(table)
    found: dict[str, Columns] = {}
    ordered = sorted(wanted)
    for some in parts([int(w) for w in ordered] if table == "versions" else ordered):
        found |= _shaped(tx, table, select(*_columns(table)).where(t.c[column].in_(some)))
    return found


def _columns(table: str) -> list[Any]:
    return [_table(table).c[name] for name in (KINDS[table][1], *WANTED[table])]


def _shaped(tx: Session, table: str, chosen: Any) -> dict[str, Columns]:
    key, shape = KINDS[table][1], SHAPES.get(table, _as_it_is)
    return {str(row._mapping[key]): shape(dict(row._mapping)) for row in tx.connection().execute(chosen)}


def _as_it_is(row: Columns) -> Columns:
    return row


def _check(row: Columns) -> Columns:
    return {**row, "late": row["body"].get("late")}


def _chase(row: Columns) -> Columns:
    end = row["body"]["chase"]["end"]
    return {**row, "end": end["how"] if end else None}


def _fault(row: Columns) -> Columns:
    promised = row["promised"]
    return {**row, "promised": promised.isoformat() if promised else None, "steps": row["body"]["steps"]}


def _message(row: Columns) -> Columns:
    return {**row, "state": "waiting" if row["state"] in UNSENT else row["state"]}


def _hold(row: Columns) -> Columns:
    return {"at": row["at"], "why": row["body"]["why"], "by": row["body"]["by"]}


SHAPES: Mapping[str, Callable[[Columns], Columns]] = {
    "checks": _check,
    "chases": _chase,
    "faults": _fault,
    "messages": _message,
    "holds": _hold,
}


def _statements(tx: Session, checks: Collection[str]) -> dict[str, list[Columns]]:
    found: dict[str, list[Columns]] = {}
    for some in parts(sorted(checks)):
        chosen = select(StatementRow).where(col(StatementRow.check_id).in_(some)).order_by(col(StatementRow.id))
        for row in tx.exec(chosen):
            found.setdefault(row.check_id, []).append(_statement(row))
    return found


def _statement(row: StatementRow) -> Columns:
    said = {name: value for name, value in row.body.items() if value and name not in ("at", "person")}
    return {
        "person": row.person,
        "inbox_id": row.inbox_id,
        "at": row.at,
        "said": said,
        "taken back": row.retracted_at,
    }
