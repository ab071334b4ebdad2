"""Heads: seals over where all streams stand, chained one to the next, to be kept outside the database.

A head names its number and its seal. It lists the streams that have grown since the head before, each with its last
number and seal; so whoever holds one head can be shown later that all that stood then still stands.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import tuple_, update
from sqlmodel import Session, col, select

from service.store.history import parts
from service.store.journal import Journal
from service.store.proof import CHANGED, UNREADABLE, Bad, same_seal
from service.store.tables import JournalHead, JournalRow, SealHead, table_of
from service.store.writing import put_new

AT_MOST = 5000
"""Streams in one head; a database that was never sealed gets several."""

PART = 100
SEALS = "heads"
"""What stands for a stream where a head itself is bad."""


@dataclass(frozen=True)
class Kept:
    """A head as it is kept elsewhere: its number, when it was made, how many entries it covers, its seal."""

    n: int
    at: datetime
    entries: int
    seal: str

    def __str__(self) -> str:
        return f"{self.n}-{self.seal}"


def last(tx: Session) -> Kept | None:
    """The newest head; None where there is none yet."""
    row = tx.exec(select(SealHead).order_by(col(SealHead.n).desc()).limit(1)).first()
    return _kept(row) if row else None


def seal(tx: Session, journal: Journal, at: datetime) -> tuple[Kept | None, bool]:
    """Make a head over the streams that have grown since the last one; says the newest head, and whether it is new.

    Streams that others are writing at this moment are left to the next head. Where another instance makes a head
    at the same time, this one makes none.
    """
    before = last(tx)
    grown = select(JournalHead.stream, JournalHead.n, JournalHead.seal, JournalHead.sealed).where(
        col(JournalHead.n) != col(JournalHead.sealed)
    )
    ordered = grown.order_by(col(JournalHead.stream)).limit(AT_MOST)
    found = tx.exec(ordered.with_for_update(skip_locked=True, key_share=True)).all()
    if not found:
        return before, False
    entries = (before.entries if before else 0) + sum(n - sealed for _, n, _, sealed in found)
    streams = [[stream, n, value] for stream, n, value, _ in found]
    n = before.n + 1 if before else 1
    value = journal.seal_after(before.seal if before else SEALS, _spelled(n, at, entries, streams))
    made = SealHead(n=n, at=at, entries=entries, body={"streams": streams}, seal=value)
    if not put_new(tx, made):
        return last(tx), False
    table = table_of(JournalHead)
    for stream, upto, *_ in found:
        tx.connection().execute(update(table).where(table.c.stream == stream).values(sealed=upto))
    return _kept(made), True


def _kept(row: SealHead) -> Kept:
    return Kept(row.n, row.at, row.entries, row.seal)


def _spelled(n: int, at: datetime, entries: int, streams: Sequence[Any]) -> dict[str, Any]:
    return {"n": n, "at": at.astimezone(UTC).isoformat(), "entries": entries, "streams": list(streams)}


def first_bad(tx: Session, journal: Journal) -> Bad | None:
    """The first head that is not as it was made, or an entry it covers that is gone or another; None if all is well."""
    before, n = SEALS, 0
    try:
        for row in _rows(tx):
            n += 1
            streams = row["body"]["streams"]
            seal = journal.seal_after(before, _spelled(n, row["at"], row["entries"], streams))
            if row["n"] != n or not same_seal(row["seal"], seal):
                return Bad(SEALS, n, CHANGED)
            gone = _gone(tx, streams)
            if gone is not None:
                return Bad(*gone, f"it stood here at head {n}; now there is none, or another")
            before = seal
    except UNREADABLE:
        return Bad(SEALS, n + 1, CHANGED)
    return None


def missing(tx: Session, head: str) -> str | None:
    """Why a head that was kept elsewhere is not among ours; None where it is. `first_bad` proves the rest."""
    number, _, seal = head.strip().partition("-")
    if not number.isdecimal() or not seal:
        return "it is no head; one reads as 12-8f2c…, as `bellcheck verify` prints it"
    row = tx.exec(select(SealHead).where(SealHead.n == int(number))).first()
    if row is None:
        newest = last(tx)
        return f"the heads end at {newest.n if newest else 0}: what was written up to head {number} was cut off"
    return None if same_seal(row.seal, seal) else f"head {number} is another: what it covers was rewritten"


def _rows(tx: Session) -> Iterator[Mapping[str, Any]]:
    table = table_of(SealHead)
    after = 0
    while True:
        chosen = table.select().where(table.c.n > after).order_by(table.c.n).limit(PART)
        part = [dict(row._mapping) for row in tx.connection().execute(chosen)]
        yield from part
        if len(part) < PART:
            return
        after = part[-1]["n"]


def _gone(tx: Session, streams: Sequence[tuple[str, int, str]]) -> tuple[str, int] | None:
    """The first entry listed in a head that is not in the journal with the seal it had."""
    table = table_of(JournalRow)
    for some in parts(streams):
        places = tuple_(table.c.stream, table.c.n).in_([(stream, n) for stream, n, _ in some])
        found = tx.connection().execute(select(table.c.stream, table.c.n, table.c.seal).where(places))
        held = {(stream, n): seal for stream, n, seal in found}
        for stream, n, seal in some:
            if not same_seal(held.get((stream, n)), seal):
                return stream, n
    return None
