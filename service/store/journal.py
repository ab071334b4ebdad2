"""The journal: numbered, sealed entries, one stream per school and date.

Each seal is an HMAC-SHA256 under a key kept outside the database, over the seal before it and the entry in
one fixed spelling; changing, leaving out or reordering an entry breaks the seals from there on. Personal
values stand in the entry as salted digests; the values themselves lie apart and can be forgotten without
breaking a seal.
"""

import hmac
import json
import re
import secrets
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, NamedTuple

from sqlalchemy import Update, bindparam, func, insert, update
from sqlmodel import Session, col, select

from service.store.json_text import JsonText
from service.store.prepared import prepared
from service.store.tables import JournalHead, JournalRow, JournalValue, table_of
from service.store.writing import put_new_values, storable, storable_body

PERSONAL = "personal"
SALT_BYTES = 16

SPELLING = json.JSONEncoder(sort_keys=True, separators=(",", ":"), allow_nan=False)
"""The one way in which what is sealed is spelled; it may never change, or old seals would prove no more."""

SUSPECT = re.compile(r"\\u(?:0000|d[89a-f])")
"""In what is spelled: NUL, or half of a pair; where the other half follows, storing changes nothing."""


@dataclass(frozen=True)
class Entry:
    """Something that happened: to which stream it belongs, when, what, why, through whom.

    `cause` names what led to it (ids of messages, timers, notices). `personal` are values that must be
    forgettable: words, aliases, addresses.
    """

    stream: str
    at: datetime
    kind: str
    cause: Sequence[str] = ()
    actor: str | None = None
    body: Mapping[str, Any] = field(default_factory=dict)
    personal: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Recorded:
    """An entry as it stands in its stream; `forgotten` names personal values that are gone."""

    n: int
    entry: Entry
    forgotten: tuple[str, ...] = ()


@dataclass(frozen=True)
class Head:
    """Where the whole journal stands: how many entries, and a seal over all streams."""

    entries: int
    seal: str


class Journal:
    """Writes and proves the journal under one key; `salts(n)` gives n random bytes."""

    def __init__(self, key: bytes, salts: Callable[[int], bytes] = secrets.token_bytes) -> None:
        self._key = key
        self._salts = salts

    def append(
        self,
        tx: Session,
        stream: str,
        at: datetime,
        kind: str,
        cause: Sequence[str] = (),
        actor: str | None = None,
        body: Mapping[str, Any] | None = None,
        personal: Mapping[str, str] | None = None,
    ) -> int:
        """Add one entry and say its number. Raises ValueError where the body has a key `personal`."""
        entry = Entry(stream, at, kind, cause, actor, body or {}, personal or {})
        return self.append_many(tx, [entry])[0]

    def append_many(self, tx: Session, entries: Iterable[Entry]) -> list[int]:
        """Add entries in the order given and say their numbers.

        The streams' locks are taken in order of their names and held to the end of the transaction.
        Raises ValueError where a body has a key `personal`.
        """
        wanted = list(entries)
        tx.flush()
        heads = lock_heads(tx, sorted({entry.stream for entry in wanted}))
        rows: list[dict[str, Any]] = []
        values: list[dict[str, Any]] = []
        for entry in wanted:
            digests = self._hide(entry, values)
            rows.append(self._sealed(entry, digests, heads[entry.stream]))
            heads[entry.stream] = (rows[-1]["n"], rows[-1]["seal"])
        write(tx, rows, values, heads)
        return [row["n"] for row in rows]

    def streams(self, tx: Session) -> list[str]:
        """The names of all streams that have begun, in order."""
        return list(tx.exec(select(JournalHead.stream).order_by(col(JournalHead.stream))))

    def read(self, tx: Session, stream: str) -> list[Recorded]:
        """A stream from its beginning, with those personal values that are not forgotten."""
        rows = rows_of(tx, stream)
        known = {digest: held.value for digest, held in values_of(tx, rows).items()}
        return [recorded(row, known) for row in rows]

    def seal_after(self, before: str, value: Any) -> str:
        """The seal of a value (an entry's columns, where a day stands) that follows the seal `before`."""
        return self._seal(SPELLING.encode([before, value]))

    def head(self, tx: Session) -> Head:
        """Where the journal stands, to be kept elsewhere: with a heartbeat, with a backup."""
        chosen = select(JournalHead.stream, JournalHead.n, JournalHead.seal).order_by(JournalHead.stream)
        heads: list[list[Any]] = [list(head) for head in tx.exec(chosen)]
        return Head(sum(n for _, n, _ in heads), self.seal_after("head", heads))

    def _hide(self, entry: Entry, values: list[dict[str, Any]]) -> dict[str, str]:
        digests = {}
        place = {"stream": entry.stream, "about": storable(str(entry.body.get("id", "")))}
        for name in sorted(entry.personal):
            salt = self._salts(SALT_BYTES).hex()
            value = storable(entry.personal[name])
            digests[name] = digest_of(salt, value)
            values.append({"digest": digests[name], "salt": salt, "value": value, **place})
        return digests

    def _sealed(self, entry: Entry, digests: Mapping[str, str], head: tuple[int, str]) -> dict[str, Any]:
        if PERSONAL in entry.body:
            raise ValueError(f"a journal body may not have a key {PERSONAL!r}; pass such values apart")
        row = {
            "stream": entry.stream,
            "n": head[0] + 1,
            "at": entry.at.astimezone(UTC),
            "kind": entry.kind,
            "cause": sealed_spelling(list(entry.cause)),
            "actor": entry.actor,
            "body": sealed_spelling({**entry.body, PERSONAL: digests} if digests else dict(entry.body)),
        }
        return {**row, "seal": self._seal(spelled_after(head[1], row))}

    def _seal(self, text: str) -> str:
        return hmac.digest(self._key, text.encode(), "sha256").hex()


def last_at(tx: Session) -> datetime | None:
    """The instant of the latest entry of all; looks at every entry, so it is for rare occasions."""
    return tx.exec(select(func.max(JournalRow.at))).one()


def forget(tx: Session, digests: Iterable[str]) -> int:
    """Remove personal values for good, salts with them; says how many there were. Seals stay whole."""
    gone = table_of(JournalValue).delete().where(col(JournalValue.digest).in_(sorted(digests)))
    return int(tx.connection().execute(gone).rowcount)


def lock_heads(tx: Session, streams: Sequence[str]) -> dict[str, tuple[int, str]]:
    """Number and seal of each stream's end, ours until the transaction ends."""
    heads = heads_of(tx, streams, lock=True)
    if len(heads) < len(streams):
        missing = [{"stream": stream, "n": 0, "seal": ""} for stream in streams if stream not in heads]
        if put_new_values(tx, table_of(JournalHead), missing) == len(missing):
            return {stream: heads.get(stream, (0, "")) for stream in streams}
        heads = heads_of(tx, streams, lock=True)
    return heads


def heads_of(tx: Session, streams: Sequence[str], lock: bool = False) -> dict[str, tuple[int, str]]:
    """Number and seal of each stream's end, of those streams that have begun."""
    chosen = select(JournalHead.stream, JournalHead.n, JournalHead.seal)
    named = chosen.where(col(JournalHead.stream).in_(streams)).order_by(JournalHead.stream)
    return {
        stream: (n, seal)
        for stream, n, seal in tx.exec(named.with_for_update(key_share=True) if lock else named)
    }


def write(
    tx: Session,
    rows: list[dict[str, Any]],
    values: list[dict[str, Any]],
    heads: Mapping[str, tuple[int, str]],
) -> None:
    """Write sealed entries, the values behind their digests, and the new ends of their streams."""
    if not rows:
        return
    connection = tx.connection()
    journal = table_of(JournalRow)
    prepared(connection, "insert", journal, tuple(rows[0]), lambda: insert(journal)).execute(connection, rows)
    put_new_values(tx, table_of(JournalValue), values)
    ends = [{"of": stream, "end": n, "by": seal} for stream, (n, seal) in heads.items()]
    prepared(connection, "move", table_of(JournalHead), MOVED, _moving).execute(connection, ends)


MOVED = ("of", "end", "by")


def _moving() -> Update:
    table = table_of(JournalHead)
    named = update(table).where(table.c.stream == bindparam("of"))
    return named.values(n=bindparam("end"), seal=bindparam("by"))


def rows_of(tx: Session, stream: str) -> list[JournalRow]:
    """A stream's rows by number."""
    chosen = select(JournalRow).where(JournalRow.stream == stream).order_by(col(JournalRow.n))
    return list(tx.exec(chosen.execution_options(populate_existing=True)))


def rows_of_kind(tx: Session, stream: str, kind: str) -> list[JournalRow]:
    """The entries of one kind in a stream, in their order."""
    chosen = select(JournalRow).where(JournalRow.stream == stream, JournalRow.kind == kind)
    return list(tx.exec(chosen.order_by(col(JournalRow.n))))


class Held(NamedTuple):
    """What is kept behind a digest, and of which entry it is said to be."""

    salt: str
    value: str
    stream: str
    about: str


def values_of(tx: Session, rows: Iterable[JournalRow]) -> dict[str, Held]:
    """What is behind each digest in the rows that is not forgotten."""
    return values_behind(tx, {digest for row in rows for digest in row.body.get(PERSONAL, {}).values()})


def values_behind(tx: Session, wanted: Iterable[str]) -> dict[str, Held]:
    """What is behind each of these digests that is not forgotten."""
    digests = sorted(wanted)
    table = table_of(JournalValue)
    found: dict[str, Held] = {}
    for start in range(0, len(digests), 1000):
        chosen = table.select().where(table.c.digest.in_(digests[start : start + 1000]))
        found |= {digest: Held(*held) for digest, *held in tx.connection().execute(chosen)}
    return found


def recorded(row: JournalRow, known: Mapping[str, str]) -> Recorded:
    """A row as the entry that was written."""
    digests: dict[str, str] = row.body.get(PERSONAL, {})
    personal = {name: known[digest] for name, digest in digests.items() if digest in known}
    body = {name: value for name, value in row.body.items() if name != PERSONAL}
    entry = Entry(row.stream, row.at, row.kind, tuple(row.cause), row.actor, body, personal)
    return Recorded(row.n, entry, tuple(sorted(digests.keys() - personal.keys())))


def spelled(row: Mapping[str, Any]) -> dict[str, Any]:
    """An entry's columns with its instant as text, always in UTC."""
    return {**row, "at": row["at"].isoformat()}


def sealed_spelling(value: Any) -> JsonText:
    """A JSON value in the one spelling, with every string in it made storable. What is not storable stands in the text
    as an escape, so that only a value with one is looked through string by string.
    """
    try:
        text = SPELLING.encode(value)
    except TypeError:
        return JsonText(SPELLING.encode(storable_body(value)))
    return JsonText(SPELLING.encode(storable_body(value)) if SUSPECT.search(text) else text)


def spelled_after(before: str, row: Mapping[str, Any]) -> str:
    """What is sealed of an entry whose body and cause are spelled already: `SPELLING` of the seal before it and of
    the entry, letter for letter, without spelling these a second time.
    """
    text = SPELLING.encode
    return (
        f'[{text(before)},{{"actor":{text(row["actor"])},"at":{text(row["at"].isoformat())},"body":{row["body"]}'
        f',"cause":{row["cause"]},"kind":{text(row["kind"])},"n":{row["n"]},"stream":{text(row["stream"])}}}]'
    )


def digest_of(salt: str, value: str) -> str:
    """What stands in the journal for a personal value: without the salt nobody can try guesses on it."""
    return hmac.new(bytes.fromhex(salt), value.encode(), "sha256").hexdigest()
