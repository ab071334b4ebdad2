"""The configuration as it was last applied, and how often it has been."""

import hashlib
import json
from collections.abc import Collection, Iterator, Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import func, update
from sqlmodel import Session, col, select

from service.store.tables import ConfigEntry, ConfigVersion
from service.store.writing import put_new, put_or_replace

AT_ONCE = 1000
"""Entries that are read from the database together."""


def current(tx: Session, without: Collection[str] = ()) -> dict[str, dict[str, dict[str, Any]]]:
    """The entries in force: section to id to body, both in order of their names; none of the sections `without`."""
    chosen = select(ConfigEntry.section, ConfigEntry.id, ConfigEntry.body)
    wanted = chosen.where(col(ConfigEntry.removed_at).is_(None), col(ConfigEntry.section).not_in(without))
    sections: dict[str, dict[str, dict[str, Any]]] = {}
    for section, id, body in tx.exec(wanted.order_by(ConfigEntry.section, ConfigEntry.id)):
        sections.setdefault(section, {})[id] = dict(body)
    return sections


def entries(tx: Session, section: str) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """The entries in force of one section, one after the other in order of their names, for a section too large
    to be held.
    """
    chosen = select(ConfigEntry.id, ConfigEntry.body).where(ConfigEntry.section == section)
    in_force = chosen.where(col(ConfigEntry.removed_at).is_(None)).order_by(ConfigEntry.id)
    yield from tx.exec(in_force.execution_options(yield_per=AT_ONCE))


def put(tx: Session, section: str, id: str, body: dict[str, Any], at: datetime, by: str) -> None:
    """Put an entry in force, in place of the one of that name; a removed one comes back."""
    put_or_replace(tx, ConfigEntry(section=section, id=id, body=body, applied_at=at, by=by))


def remove(tx: Session, section: str, id: str, at: datetime, by: str) -> bool:
    """Take an entry out of force; its last body stays readable. False where it was not in force."""
    named = update(ConfigEntry).where(col(ConfigEntry.section) == section, col(ConfigEntry.id) == id)
    in_force = named.where(col(ConfigEntry.removed_at).is_(None))
    return bool(tx.exec(in_force.values(removed_at=at, by=by)).rowcount)


def applied_at(tx: Session, section: str, id: str) -> datetime | None:
    """Since when an entry is in force as it is; None where it is not."""
    named = select(ConfigEntry.applied_at).where(ConfigEntry.section == section, ConfigEntry.id == id)
    return tx.exec(named.where(col(ConfigEntry.removed_at).is_(None))).first()


def digest_of(documents: Mapping[str, Mapping[str, Mapping[str, Any]]]) -> str:
    """SHA-256 of a whole configuration: of what it says, in whatever order it says it."""
    entries = [[s, id, body] for s, held in sorted(documents.items()) for id, body in sorted(held.items())]
    return hashlib.sha256(json.dumps(entries, sort_keys=True).encode()).hexdigest()


def version(tx: Session) -> int:
    """How often a configuration has been applied; 0 for never."""
    return tx.exec(select(func.max(ConfigVersion.n))).one() or 0


def bump(tx: Session, at: datetime, by: str, digest: str) -> int:
    """Record one more application and say its number; two at once get two numbers."""
    n = version(tx) + 1
    while not put_new(tx, ConfigVersion(n=n, applied_at=at, by=by, digest=digest)):
        n += 1
    return n
