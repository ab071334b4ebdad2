"""The one door to the database: a `Store` gives transactions, and nothing else opens a connection."""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from datetime import datetime
from threading import Lock
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, func, select
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError
from sqlalchemy.pool import StaticPool
from sqlmodel import Session

from service.store import versions
from service.store.batches import Transaction
from service.store.errors import (
    ADVICE,
    AlreadyServing,
    DatabaseBusy,
    DatabaseConflict,
    DatabaseDamaged,
    DatabaseFull,
    DatabaseReadOnly,
    DatabaseUnreachable,
    NewerDatabase,
    NotEmpty,
    OlderDatabase,
    StoreError,
    Unfinished,
    plain_errors,
)
from service.store.json_text import to_json
from service.store.serving import serving_lock

__all__ = [
    "AlreadyServing",
    "DatabaseBusy",
    "DatabaseConflict",
    "DatabaseDamaged",
    "DatabaseFull",
    "DatabaseReadOnly",
    "DatabaseUnreachable",
    "NewerDatabase",
    "NotEmpty",
    "OlderDatabase",
    "Store",
    "StoreError",
    "Unfinished",
    "serving_lock",
]

WAIT_SECONDS = 5.0

SILENCE = {"keepalives_idle": 10, "keepalives_interval": 5, "keepalives_count": 3, "user_timeout": 20_000}
"""When a connection on which nothing comes back is dead: seconds, and milliseconds for what we sent unanswered
(PostgreSQL, "Connections and Authentication", TCP Settings).
"""
WRITES = "bellcheck_writes"
IDLE_AT_MOST_MS = 30_000
"""How long PostgreSQL lets a transaction lie idle: an instance that stands still must not keep others from its rows."""


class Store:
    """A database, SQLite or PostgreSQL, by its URL.

    `wait` is how long, in real seconds, a writer waits for another before `DatabaseBusy`. `on_commit` is
    called with 'before commit' and 'after commit' around each commit of `transaction`; tests end the process
    there. `durable` no: an SQLite commit does not wait for the disk, for data that can be made again. Raises
    `StoreError` for a URL that names neither database.
    """

    def __init__(self, url: str, wait: float = WAIT_SECONDS, *, durable: bool = True) -> None:
        self.url = understood(url)
        self.dialect: str = self.url.get_backend_name()
        self.on_commit: Callable[[str], None] | None = None
        self.wait = wait
        self.durable = durable
        self._in_memory = self.dialect == "sqlite" and self.url.database in (None, "", ":memory:")
        self._turn = Lock()
        self._engine = sqlite_engine(self) if self.dialect == "sqlite" else postgresql_engine(self)

    @property
    def in_memory(self) -> bool:
        """Whether the database lives and dies with this object."""
        return self._in_memory

    @property
    def place(self) -> str:
        """Where the database is, for messages; never with a password."""
        return self.url.render_as_string(hide_password=True)

    def close(self) -> None:
        """Give back all connections; an in-memory database is gone afterwards."""
        self._engine.dispose()

    def upgrade(self, taking_in: bool = False) -> None:
        """Bring the tables to this version. Raises `NewerDatabase` where the database is ahead of it, `Unfinished`
        where a move into it was broken off, unless it is `taking_in` one now.
        """
        with plain_errors(self.place), self._my_turn(), self._engine.connect() as connection:
            if not taking_in:
                versions.refuse_unfinished(connection, self.place)
                connection.rollback()
            versions.upgrade(connection.execution_options(**{WRITES: True}), self.place)

    def check_version(self) -> None:
        """Raise `NewerDatabase`, `OlderDatabase` or `Unfinished` unless the tables are of exactly this version and
        whole.
        """
        with self.reading() as tx:
            versions.check(tx.connection(), self.place)

    def compact(self) -> None:
        """Write the database anew without what was removed from it, so that no page still holds it.

        Waits for nobody: raises `DatabaseBusy` where others are at work on an SQLite file. On PostgreSQL the room
        is freed for what comes next.
        """
        with plain_errors(self.place), self._my_turn(), self._engine.connect() as connection:
            if self.dialect == "postgresql":
                connection.execution_options(isolation_level="AUTOCOMMIT").exec_driver_sql("VACUUM")
                return
            # Outside any transaction, which SQLAlchemy would begin for a statement of its own.
            for statement in ("PRAGMA query_only=OFF", "VACUUM", "PRAGMA wal_checkpoint(TRUNCATE)"):
                connection.connection.driver_connection.execute(statement)  # type: ignore[union-attr]

    @contextmanager
    def transaction(self) -> Iterator[Session]:
        """A session in a begun write transaction: committed at the end, undone by any exception.

        On SQLite the transaction is the one writer from its first moment. Rows stay readable afterwards.
        """
        with plain_errors(self.place), self._my_turn(), self._engine.connect() as connection:
            writing = connection.execution_options(**{WRITES: True})
            with begun(writing) as session:
                yield session
                session.flush()
                self._tell("before commit")
                session.commit()
            self._tell("after commit")

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A session on one unchanging picture of the database; writing in it raises `DatabaseReadOnly`."""
        turn = self._my_turn() if self._in_memory else nullcontext()
        with (
            plain_errors(self.place),
            turn,
            self._engine.connect() as connection,
            begun(connection.execution_options(**self._snapshot())) as session,
        ):
            yield session

    def database_now(self, tx: Session) -> datetime | None:
        """The PostgreSQL server's clock at this moment; None on SQLite, which has no clock of its own."""
        if self.dialect == "sqlite":
            return None
        now: datetime = tx.connection().execute(select(func.clock_timestamp())).scalar_one()
        return now

    def _snapshot(self) -> dict[str, Any]:
        if self.dialect == "sqlite":
            return {WRITES: False}
        return {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}

    def _my_turn(self) -> AbstractContextManager[Any]:
        return nullcontext() if self.dialect == "postgresql" else self._queued()

    @contextmanager
    def _queued(self) -> Iterator[None]:
        # Threads of one process take turns here, since SQLite's own waiting is a sleep that starves.
        if not self._turn.acquire(timeout=self.wait):
            raise DatabaseBusy(ADVICE[DatabaseBusy].format(place=self.place))
        try:
            yield
        finally:
            self._turn.release()

    def _tell(self, moment: str) -> None:
        if self.on_commit is not None:
            self.on_commit(moment)


@contextmanager
def begun(connection: Connection) -> Iterator[Session]:
    """A session whose transaction has begun; what is not committed at the end is undone."""
    with Transaction(connection) as session:
        session.connection()
        yield session


def understood(url: str) -> URL:
    """The URL with the driver we use. Raises `StoreError` where it is of neither database."""
    try:
        parsed = make_url(url)
    except ArgumentError:
        parsed = None
    backend = parsed.get_backend_name() if parsed else ""
    if parsed is None or backend not in ("sqlite", "postgresql"):
        raise StoreError(
            "The database address is not understood. It would be right as sqlite:///bellcheck.db or "
            "postgresql+psycopg://user@host/name."
        )
    return parsed.set(drivername={"sqlite": "sqlite", "postgresql": "postgresql+psycopg"}[backend])


def sqlite_engine(store: Store) -> Engine:
    """An engine whose transactions begin where we say: at once for writers, as a snapshot for readers."""
    arguments: dict[str, Any] = {"timeout": store.wait, "check_same_thread": False}
    if store.in_memory:
        engine = create_engine(
            "sqlite://",
            connect_args=arguments,
            poolclass=StaticPool,
            hide_parameters=True,
            json_serializer=to_json,
        )
    else:
        engine = create_engine(
            store.url,
            connect_args=arguments,
            pool_size=10,
            max_overflow=40,
            hide_parameters=True,
            json_serializer=to_json,
        )
    event.listen(engine, "connect", prepare_sqlite)
    if not store.durable:
        event.listen(engine, "connect", leave_the_disk_alone)
    event.listen(engine, "begin", begin_sqlite)
    return engine


def prepare_sqlite(connection: Any, _record: Any) -> None:
    """Settings that SQLite keeps per connection; an acknowledged commit must survive a power cut."""
    connection.isolation_level = None
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("PRAGMA foreign_keys=ON")


def leave_the_disk_alone(connection: Any, _record: Any) -> None:
    """Commits that wait for no disk; a power cut may leave nothing to be used."""
    connection.execute("PRAGMA synchronous=OFF")


def begin_sqlite(connection: Connection) -> None:
    """Begin as the one writer, or as a reader that cannot write.

    A deferred transaction that reads first and writes later fails at once, without waiting, when another
    commits in between; so whoever may write says so at the beginning.
    """
    writes = connection.get_execution_options().get(WRITES, False)
    connection.exec_driver_sql(f"PRAGMA query_only={'OFF' if writes else 'ON'}")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def postgresql_engine(store: Store) -> Engine:
    """An engine that works in UTC and waits for a lock no longer than `store.wait`.

    Where the network goes silent each side gives the other up within half a minute: we do, so that we say what is
    wrong, and the server does, so that what we held locked is free for the other instances.
    """
    theirs = {
        "timezone": "UTC",
        "lock_timeout": int(store.wait * 1000),
        "idle_in_transaction_session_timeout": IDLE_AT_MOST_MS,
        **{f"tcp_{k}": v for k, v in SILENCE.items()},
    }
    ours = {name.replace("user_timeout", "tcp_user_timeout"): value for name, value in SILENCE.items()}
    arguments = {
        **ours,
        "connect_timeout": 5,
        "application_name": "bellcheck",
        "options": " ".join(f"-c {name}={value}" for name, value in theirs.items()),
    }
    return create_engine(
        store.url,
        connect_args=arguments,
        pool_size=10,
        max_overflow=40,
        pool_pre_ping=True,
        hide_parameters=True,
        json_serializer=to_json,
    )
