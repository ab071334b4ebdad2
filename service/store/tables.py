"""The tables: one class per table, every instant an aware UTC datetime, every `body` a JSON object.

A `body` is replaced, never edited in place: the session does not look inside it for changes. Strings that
are ordered by (ids, keys, people) collate bytewise on both databases, so that an order never depends on
where it was asked for. Foreign keys are deferred: rows may be written in any order within a transaction.
"""

import datetime as dt
from typing import Any, ClassVar

from sqlalchemy import JSON, ForeignKeyConstraint, Index, MetaData, String, Table, UniqueConstraint, text
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator, TypeEngine
from sqlmodel import Field, SQLModel

NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class Code(TypeDecorator[str]):
    """A string that sorts by its bytes on every database."""

    impl = String
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Ask PostgreSQL for the collation that SQLite has anyway."""
        wanted = String(collation="C") if dialect.name == "postgresql" else String()
        return dialect.type_descriptor(wanted)


class Row(SQLModel):
    """What all tables share: their own metadata, with every constraint named."""

    metadata: ClassVar[MetaData] = MetaData(naming_convention=NAMES)


def table_of(model: type[Row]) -> Table:
    """The table behind a class, for statements that bypass the object layer."""
    return Row.metadata.tables[str(model.__tablename__)]


def body_field() -> Any:
    """A JSON object, empty unless given."""
    return Field(default_factory=dict, sa_type=JSON)


def list_field() -> Any:
    """A JSON list, empty unless given."""
    return Field(default_factory=list, sa_type=JSON)


def only_where(condition: str) -> dict[str, Any]:
    """The options of an index over the rows that match `condition` only."""
    return {"sqlite_where": text(condition), "postgresql_where": text(condition)}


def deferred_key(column: str, target: str) -> ForeignKeyConstraint:
    """A foreign key that is checked when the transaction commits."""
    return ForeignKeyConstraint([column], [target], deferrable=True, initially="DEFERRED")


class ConfigEntry(Row, table=True):
    """One entry of the configuration as it was last applied; removed entries stay, marked."""

    __tablename__ = "config_entries"

    section: str = Field(primary_key=True, sa_type=Code)
    id: str = Field(primary_key=True, sa_type=Code)
    body: dict[str, Any] = body_field()
    applied_at: dt.datetime
    removed_at: dt.datetime | None = None
    by: str


class ConfigVersion(Row, table=True):
    """One application of a configuration; `digest` is of the whole document set."""

    __tablename__ = "config_versions"

    n: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    applied_at: dt.datetime
    by: str
    digest: str


class NoticeRow(Row, table=True):
    """What changes on the days from `first` to `last`, both included; withdrawn notices stay, marked."""

    __tablename__ = "notices"
    __table_args__ = (Index(None, "last", "first"),)

    id: str = Field(primary_key=True, sa_type=Code)
    body: dict[str, Any] = body_field()
    first: dt.date
    last: dt.date
    given_at: dt.datetime
    by: str
    withdrawn_at: dt.datetime | None = None


class RoundRow(Row, table=True):
    """The checks one adult is asked about in one message; `state`: planned, asked, dropped."""

    __tablename__ = "rounds"
    __table_args__ = (
        Index(None, "state", "due", "id"),
        Index(None, "school", "date"),
        Index(None, "checker", "due"),
        Index(None, "second", "due"),
    )

    id: str = Field(primary_key=True, sa_type=Code)
    school: str = Field(sa_type=Code)
    date: dt.date
    due: dt.datetime
    checker: str = Field(sa_type=Code)
    second: str | None = None
    state: str = "planned"
    asked_at: dt.datetime | None = None
    body: dict[str, Any] = body_field()


class CheckRow(Row, table=True):
    """One student × one routine entry × one date, `number` in its round; `state`: planned, asked, closed."""

    __tablename__ = "checks"
    __table_args__ = (Index(None, "round_id"), Index(None, "school", "date"), Index(None, "student", "date"))

    id: str = Field(primary_key=True, sa_type=Code)
    round_id: str = Field(sa_type=Code)
    school: str = Field(sa_type=Code)
    date: dt.date
    student: str = Field(sa_type=Code)
    routine: str
    number: int
    alias: str
    room: str
    kind: str
    state: str = "planned"
    result: str | None = None
    result_at: dt.datetime | None = None
    by: str | None = None
    faults: list[Any] = list_field()
    body: dict[str, Any] = body_field()


class StatementRow(Row, table=True):
    """What one person said about one check, in the order said; taken back, it stays, marked."""

    __tablename__ = "statements"
    __table_args__ = (Index(None, "check_id"), Index(None, "inbox_id"), deferred_key("check_id", "checks.id"))

    id: int | None = Field(default=None, primary_key=True)
    check_id: str = Field(sa_type=Code)
    at: dt.datetime
    person: str = Field(sa_type=Code)
    inbox_id: str | None = None
    body: dict[str, Any] = body_field()
    retracted_at: dt.datetime | None = None


class ChaseRow(Row, table=True):
    """One run of a chain for one cause; `wake_at` is its next instant of its own."""

    __tablename__ = "chases"
    __table_args__ = (
        Index(None, "check_id"),
        Index(None, "school", "ended_at"),
        Index(None, "student", **only_where("ended_at IS NULL")),
        Index(None, "wake_at", "id", **only_where("ended_at IS NULL")),
    )

    id: str = Field(primary_key=True, sa_type=Code)
    check_id: str | None = Field(default=None, sa_type=Code)
    round_id: str | None = Field(default=None, sa_type=Code)
    student: str | None = Field(default=None, sa_type=Code)
    school: str = Field(sa_type=Code)
    date: dt.date
    why: str
    severity: str | None = None
    phase: str
    step: int = 0
    wake_at: dt.datetime | None = None
    ended_at: dt.datetime | None = None
    body: dict[str, Any] = body_field()


class FaultRow(Row, table=True):
    """One code on one device of one student, from its first report (`date`) until it works again (`closed_at`).

    `body` holds its steps, from which the other columns follow; `note` is what somebody wrote about an incident;
    `wake_at` is when its holder is to be reminded of a date that has passed.
    """

    __tablename__ = "faults"
    __table_args__ = (
        Index(None, "student", "code"),
        Index(None, "school", "closed_at"),
        Index(None, "date"),
        Index(None, "wake_at", "id", **only_where("closed_at IS NULL")),
    )

    id: str = Field(primary_key=True, sa_type=Code)
    student: str = Field(sa_type=Code)
    school: str = Field(sa_type=Code)
    code: str = Field(sa_type=Code)
    date: dt.date
    stage: str
    severity: str
    side: str | None = None
    holder: str | None = Field(default=None, sa_type=Code)
    promised: dt.date | None = None
    lent: str | None = Field(default=None, sa_type=Code)
    closed_at: dt.datetime | None = None
    wake_at: dt.datetime | None = None
    note: str = ""
    body: dict[str, Any] = body_field()


class TrayRow(Row, table=True):
    """Something to tell one person, waiting until it goes (`outbox_id`) or is `dropped` for a reason."""

    __tablename__ = "tray"
    __table_args__ = (
        UniqueConstraint("chase_id", "step", "person", "purpose", "generation"),
        Index(None, "person", "outbox_id"),
        Index(None, "not_before", **only_where("outbox_id IS NULL AND dropped IS NULL")),
    )

    key: str = Field(primary_key=True, sa_type=Code)
    person: str = Field(sa_type=Code)
    chase_id: str = Field(sa_type=Code)
    check_id: str | None = Field(default=None, sa_type=Code)
    step: int
    purpose: str = Field(sa_type=Code)
    generation: int = 0
    role: str
    urgency: int
    due_at: dt.datetime
    not_before: dt.datetime
    body: dict[str, Any] = body_field()
    outbox_id: str | None = Field(default=None, sa_type=Code)
    dropped: str | None = None


class AddresseeRow(Row, table=True):
    """A person as one who is written to: when last, and which generation of links still opens a door."""

    __tablename__ = "addressees"

    person: str = Field(primary_key=True, sa_type=Code)
    last_at: dt.datetime | None = None
    epoch: int = 0


class OutboxRow(Row, table=True):
    """A message to send; `state`: waiting, claimed, accepted, refused, timed_out, dropped.

    `next_at` is when it may be claimed, `give_up_at` when sending it no longer helps; `after_id` names the
    message that must be finished before this one may leave.
    """

    __tablename__ = "outbox"
    __table_args__ = (
        UniqueConstraint("key"),
        Index(None, "state", "next_at", "id"),
        Index(None, "person", "created_at"),
    )

    id: str = Field(primary_key=True, sa_type=Code)
    key: str = Field(sa_type=Code)
    person: str = Field(sa_type=Code)
    role: str
    channel: str
    address: str
    purpose: str
    subject: str
    lock_line: str
    text: str
    thread: str | None = None
    in_reply_to: str | None = None
    body: dict[str, Any] = body_field()
    created_at: dt.datetime
    next_at: dt.datetime
    give_up_at: dt.datetime | None = None
    state: str = "waiting"
    owner: str | None = None
    lease_until: dt.datetime | None = None
    attempts: int = 0
    accepted_at: dt.datetime | None = None
    outcome: str | None = None
    after_id: str | None = Field(default=None, sa_type=Code)


class OutboxChase(Row, table=True):
    """Which chases a message speaks for."""

    __tablename__ = "outbox_chases"
    __table_args__ = (Index(None, "chase_id"), deferred_key("outbox_id", "outbox.id"))

    outbox_id: str = Field(primary_key=True, sa_type=Code)
    chase_id: str = Field(primary_key=True, sa_type=Code)
    check_id: str | None = Field(default=None, sa_type=Code)


class InboxRow(Row, table=True):
    """A message as it was received; `state`: unread, read, aside (put aside for the coordinator)."""

    __tablename__ = "inbox"
    __table_args__ = (
        UniqueConstraint("channel", "external_id"),
        Index(None, "state", "received_at"),
        Index(None, "person", "received_at"),
        Index(None, "round_id"),
    )

    id: str = Field(primary_key=True, sa_type=Code)
    channel: str = Field(sa_type=Code)
    external_id: str = Field(sa_type=Code)
    person: str | None = Field(default=None, sa_type=Code)
    address: str
    text: str
    received_at: dt.datetime
    in_reply_to: str | None = None
    proven: bool = False
    truncated: bool = False
    state: str = "unread"
    body: dict[str, Any] = body_field()
    round_id: str | None = Field(default=None, sa_type=Code)


class JournalRow(Row, table=True):
    """One entry of the record; the database itself refuses to change or remove it."""

    __tablename__ = "journal"

    stream: str = Field(primary_key=True, sa_type=Code)
    n: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    at: dt.datetime
    kind: str
    cause: list[Any] = list_field()
    actor: str | None = None
    body: dict[str, Any] = body_field()
    seal: str


class JournalHead(Row, table=True):
    """Where a stream stands: its last number and seal, and how far heads cover it. Its row is the lock under which
    numbers are given.
    """

    __tablename__ = "journal_heads"
    __table_args__ = (Index(None, "stream", **only_where("n <> sealed")),)

    stream: str = Field(primary_key=True, sa_type=Code)
    n: int = 0
    seal: str = ""
    sealed: int = Field(default=0, sa_column_kwargs={"server_default": "0"})


class JournalValue(Row, table=True):
    """A personal value behind a digest in the journal, of which entry it is; forgotten by removing the row."""

    __tablename__ = "journal_values"
    __table_args__ = (Index(None, "stream"), Index(None, "about"))

    digest: str = Field(primary_key=True, sa_type=Code)
    salt: str
    value: str
    stream: str = Field(default="", sa_type=Code, sa_column_kwargs={"server_default": ""})
    about: str = Field(default="", sa_type=Code, sa_column_kwargs={"server_default": ""})


class SealHead(Row, table=True):
    """A head: a seal over where the streams stood that had grown since the head before, to be kept elsewhere."""

    __tablename__ = "seal_heads"

    n: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    at: dt.datetime
    entries: int
    body: dict[str, Any] = body_field()
    seal: str


class SupplyCount(Row, table=True):
    """What somebody counted on a shelf: `pieces` are lots of so many (`count`) that are good `until` a date (null: for
    good); `on_order` are still to come.
    """

    __tablename__ = "supply_counts"
    __table_args__ = (Index(None, "shelf", "at"),)

    id: str = Field(primary_key=True, sa_type=Code)
    shelf: str = Field(sa_type=Code)
    at: dt.datetime
    by: str
    pieces: list[Any] = list_field()
    on_order: int = 0


class ServiceMark(Row, table=True):
    """What the service remembers about itself: heartbeats, last run, restart."""

    __tablename__ = "service_marks"

    key: str = Field(primary_key=True, sa_type=Code)
    at: dt.datetime | None = None
    body: dict[str, Any] = body_field()
