"""Proves a stream of the journal: reads it in order, entry by entry, and stops at the first that is not as written.

An entry missing, changed or out of place, words that no longer fit their digest, and an end that was cut off all
show. What was cut off together with its head shows only against a head kept elsewhere (`service.store.seals`).
"""

import hmac
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session, select

from service.store.journal import PERSONAL, Held, Journal, digest_of, heads_of, spelled, values_behind
from service.store.tables import JournalHead, JournalRow, table_of

AT_ONCE = 1000
"""Entries held in memory at a time."""

UNREADABLE = (ValueError, TypeError, AttributeError, KeyError, DBAPIError)
"""What reading or sealing an entry raises whose columns hold something else than what belongs there."""

CHANGED = "it, or what stands before it, is not as it was written"
OTHER_WORDS = "the words kept for it are not those that were written"


@dataclass(frozen=True)
class Bad:
    """The first entry of a stream that is not as it was written, and what is wrong with it."""

    stream: str
    n: int
    what: str

    def __str__(self) -> str:
        return f"{self.stream}: entry {self.n}: {self.what}"


class Broken(Exception):
    """A stream is not what was written; `bad` names its first bad entry."""

    def __init__(self, stream: str, n: int, what: str) -> None:
        super().__init__()
        self.bad = Bad(stream, n, what)

    def __str__(self) -> str:
        return str(self.bad)


@dataclass(frozen=True)
class Proved:
    """An entry that is as it was written: its columns, its personal values that are known, and how many are not."""

    row: Mapping[str, Any]
    words: Mapping[str, str]
    forgotten: int


def first_bad(journal: Journal, tx: Session, stream: str) -> Bad | None:
    """The first entry of a stream that is not what was written; None where all of it is."""
    try:
        for _ in entries(journal, tx, stream):
            pass
    except Broken as broken:
        return broken.bad
    return None


def entries(journal: Journal, tx: Session, stream: str) -> Iterator[Proved]:
    """A stream from its beginning, each entry proved. Raises `Broken` at the first that is not as written."""
    seal, n = "", 0
    for rows in _parts(tx, stream):
        proved = []
        for row in rows:
            n += 1
            seal = _sealed(journal, stream, n, seal, row)
            proved.append(row)
        yield from _with_words(tx, stream, proved)
    _prove_end(tx, stream, n, seal)


def _parts(tx: Session, stream: str) -> Iterator[Sequence[Mapping[str, Any]]]:
    """A stream's rows, so many at a time; where a part cannot be read, row by row up to what cannot."""
    table = table_of(JournalRow)
    after: int | None = None
    while True:
        chosen = table.select().where(table.c.stream == stream).order_by(table.c.n).limit(AT_ONCE)
        if after is not None:
            chosen = chosen.where(table.c.n > after)
        try:
            rows = [dict(row._mapping) for row in tx.connection().execute(chosen)]
        except UNREADABLE:
            yield from _one_by_one(tx, stream, after or 0)
            return
        if rows:
            yield rows
        if len(rows) < AT_ONCE:
            return
        after = rows[-1]["n"]


def _one_by_one(tx: Session, stream: str, after: int) -> Iterator[Sequence[Mapping[str, Any]]]:
    table = table_of(JournalRow)
    n = after
    while True:
        n += 1
        try:
            found: Row[Any] | None = (
                tx.connection().execute(table.select().where(table.c.stream == stream, table.c.n == n)).first()
            )
        except UNREADABLE:
            raise Broken(stream, n, CHANGED) from None
        if found is None:
            raise Broken(stream, n, "it is missing")
        yield [dict(found._mapping)]


def _sealed(journal: Journal, stream: str, n: int, before: str, row: Mapping[str, Any]) -> str:
    """The seal of the n-th row. Raises `Broken` where the row's number or seal is another."""
    if row["n"] != n:
        raise Broken(stream, n, "it is missing")
    try:
        value = spelled({name: row[name] for name in row if name != "seal"})
        seal = journal.seal_after(before, value)
        sound = same_seal(row["seal"], seal)
    except UNREADABLE:
        sound = False
    if not sound:
        raise Broken(stream, n, CHANGED)
    return seal


def _with_words(tx: Session, stream: str, rows: Sequence[Mapping[str, Any]]) -> Iterator[Proved]:
    behind = [row["body"].get(PERSONAL, {}) for row in rows]
    held = values_behind(tx, {digest for digests in behind for digest in digests.values()})
    for row, digests in zip(rows, behind, strict=True):
        for digest in digests.values():
            if digest in held and not _fits(row, digest, held[digest]):
                raise Broken(stream, row["n"], OTHER_WORDS)
        words = {name: held[digest].value for name, digest in digests.items() if digest in held}
        yield Proved(row, words, len(digests) - len(words))


def _fits(row: Mapping[str, Any], digest: str, held: Held) -> bool:
    try:
        right = digest_of(held.salt, held.value)
    except UNREADABLE:
        return False
    place = (row["stream"], row["body"].get("id", ""))
    return same_seal(digest, right) and (held.stream, held.about) == place


def _prove_end(tx: Session, stream: str, n: int, seal: str) -> None:
    said, last = heads_of(tx, [stream]).get(stream, (0, ""))
    if said != n:
        ends = min(n, said) if isinstance(said, int) else n
        raise Broken(stream, ends + 1, f"the stream ends at {n}, its head says {said}")
    if not same_seal(last, seal):
        raise Broken(stream, max(n, 1), "the head of the stream bears another seal")


def same_seal(found: object, right: str) -> bool:
    """Whether what was found, which may be anything, is the seal that is right."""
    return isinstance(found, str) and hmac.compare_digest(found.encode("utf-8", "replace"), right.encode())


def all_streams(tx: Session) -> Iterator[str]:
    """Every stream that has entries or a head, in the order of their names."""
    tables = (table_of(JournalHead), table_of(JournalRow))
    last: str | None = ""
    while True:
        beyond = [
            select(t.c.stream).where(t.c.stream > last).order_by(t.c.stream).limit(1) for t in tables
        ]
        found = [name for chosen in beyond if (name := tx.connection().execute(chosen).scalar()) is not None]
        if not found:
            return
        last = min(found)
        yield last
