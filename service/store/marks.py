"""What the service remembers about itself from one run to the next."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import delete
from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select

from service.store.tables import ServiceMark, table_of
from service.store.writing import put_or_replace

LAST = "\U0010ffff"
"""The character after which no other comes."""


def get(tx: Session, key: str) -> ServiceMark | None:
    """The mark as it stands now."""
    chosen = select(ServiceMark).where(ServiceMark.key == key)
    return tx.exec(chosen.execution_options(populate_existing=True)).first()


def instant(tx: Session, key: str) -> datetime | None:
    """The instant of the mark as it stands now; None where there is no mark, or it has none."""
    table = table_of(ServiceMark)
    tx.flush()
    found: datetime | None = tx.connection().execute(sql_select(table.c.at).where(table.c.key == key)).scalar()
    return found


def set(tx: Session, key: str, at: datetime | None, body: Mapping[str, Any]) -> None:
    """Set the mark, in place of what it said before."""
    put_or_replace(tx, ServiceMark(key=key, at=at, body=dict(body)))


def with_prefix(tx: Session, prefix: str) -> list[ServiceMark]:
    """The marks whose key begins with `prefix`, by key."""
    # Compared as a range: LIKE takes capitals for small letters on one database and not on the other.
    chosen = select(ServiceMark).where(ServiceMark.key >= prefix, ServiceMark.key < prefix + LAST)
    return list(tx.exec(chosen.order_by(col(ServiceMark.key)).execution_options(populate_existing=True)))


def due(tx: Session, prefix: str, now: datetime) -> list[ServiceMark]:
    """The marks under `prefix` whose instant has come, earliest first."""
    under = col(ServiceMark.key).startswith(prefix, autoescape=True)
    chosen = select(ServiceMark).where(under, col(ServiceMark.at) <= now)
    return list(tx.exec(chosen.order_by(col(ServiceMark.at), col(ServiceMark.key))))


def next_due(tx: Session, prefix: str) -> datetime | None:
    """The earliest instant of the marks under `prefix`."""
    under = col(ServiceMark.key).startswith(prefix, autoescape=True)
    chosen = select(ServiceMark.at).where(under, col(ServiceMark.at).is_not(None))
    return tx.exec(chosen.order_by(col(ServiceMark.at)).limit(1)).first()


def drop(tx: Session, key: str) -> bool:
    """Forget the mark; False where there was none (any more)."""
    return bool(tx.exec(delete(ServiceMark).where(col(ServiceMark.key) == key)).rowcount)


def drop_under(tx: Session, prefix: str) -> None:
    """Forget all marks whose key begins with `prefix`."""
    tx.exec(delete(ServiceMark).where(col(ServiceMark.key) >= prefix, col(ServiceMark.key) < prefix + LAST))
