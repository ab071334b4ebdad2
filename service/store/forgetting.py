"""Finds what identifies a child, and takes it out: names, rooms, words, addresses. Counts and results stay."""

import re
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import ColumnElement, func, or_, update
from sqlmodel import Session, col, select

from service.store.history import parts
from service.store.tables import (
    ChaseRow,
    CheckRow,
    ConfigEntry,
    InboxRow,
    JournalValue,
    NoticeRow,
    OutboxChase,
    OutboxRow,
    ServiceMark,
    StatementRow,
)

FORGOTTEN = "[forgotten]"
"""What stands where words or a name stood."""

SLICE = 200
"""Rows changed in one transaction."""


@dataclass(frozen=True)
class Names:
    """What a child was called. A name counts where no letter stands beside it, whatever its capitals."""

    names: tuple[str, ...]

    def in_words(self, text: str) -> bool:
        """Whether a text names the child."""
        return any(self._pattern(name).search(text) for name in self.names)

    def out_of(self, text: str) -> str:
        """The text without the names."""
        for name in self.names:
            text = self._pattern(name).sub(FORGOTTEN, text)
        return text

    def lines_out_of(self, text: str) -> str:
        """The text without the lines that name the child: such a line tells room and device as well."""
        return "\n".join(FORGOTTEN if self.in_words(line) else line for line in text.split("\n"))

    def held_in(self, column: Any) -> ColumnElement[bool]:
        """Whether a column may name the child; to be looked at more closely."""
        spelled = {form for n in self.names for form in (n, n.lower(), n.upper(), n.title(), n.casefold())}
        return or_(
            *(col(column).contains(form, autoescape=True) for form in sorted(spelled)),
            *(func.lower(column).contains(form, autoescape=True) for form in sorted(spelled)),
        )

    @staticmethod
    def _pattern(name: str) -> re.Pattern[str]:
        return re.compile(rf"(?<![^\W\d_]){re.escape(name)}(?![^\W\d_])", re.IGNORECASE)


def checks_of(tx: Session, student: str) -> list[tuple[str, str, str]]:
    """Id, round and alias of every check of a student, by date."""
    chosen = select(CheckRow.id, CheckRow.round_id, CheckRow.alias).where(CheckRow.student == student)
    return list(tx.exec(chosen.order_by(col(CheckRow.date))))


def sent_about(tx: Session, chases: Collection[str], names: Names) -> Iterator[str]:
    """Ids of the messages that spoke for these chases, or that name the child."""
    for some in parts(sorted(chases)):
        linked = select(OutboxChase.outbox_id).where(col(OutboxChase.chase_id).in_(some))
        yield from tx.exec(linked.distinct())
    if names.names:
        naming = or_(names.held_in(OutboxRow.text), names.held_in(OutboxRow.subject))
        yield from tx.exec(select(OutboxRow.id).where(naming))


def received_about(tx: Session, checks: Collection[str], rounds: Collection[str], names: Names) -> Iterator[str]:
    """Ids of the messages received about these checks or in these rounds, or that name the child."""
    for some in parts(sorted(checks)):
        said = select(StatementRow.inbox_id).where(col(StatementRow.check_id).in_(some))
        yield from (id for id in tx.exec(said.distinct()) if id is not None)
    for some in parts(sorted(rounds)):
        yield from tx.exec(select(InboxRow.id).where(col(InboxRow.round_id).in_(some)))
    if names.names:
        yield from tx.exec(select(InboxRow.id).where(names.held_in(InboxRow.text)))


def students_of_words(tx: Session, inbox: Collection[str]) -> dict[str, set[str]]:
    """By received message the students about whom something was said in it."""
    found: dict[str, set[str]] = {}
    for some in parts(sorted(inbox)):
        chosen = select(StatementRow.inbox_id, CheckRow.student).where(
            col(StatementRow.inbox_id).in_(some), col(CheckRow.id) == col(StatementRow.check_id)
        )
        for id, student in tx.exec(chosen):
            found.setdefault(id or "", set()).add(student)
    return found


def students_of_rounds(tx: Session, rounds: Collection[str]) -> dict[str, set[str]]:
    """By round its students."""
    found: dict[str, set[str]] = {}
    for some in parts(sorted(rounds)):
        chosen = select(CheckRow.round_id, CheckRow.student).where(col(CheckRow.round_id).in_(some))
        for id, student in tx.exec(chosen):
            found.setdefault(id, set()).add(student)
    return found


def students_of_chases(tx: Session, chases: Collection[str]) -> set[str]:
    """The students whom these chases are about."""
    found = select(ChaseRow.student).where(col(ChaseRow.id).in_(sorted(chases)))
    return {student for student in tx.exec(found) if student is not None}


def sent(tx: Session, ids: Collection[str]) -> list[OutboxRow]:
    """Messages put out, by id."""
    return list(tx.exec(select(OutboxRow).where(col(OutboxRow.id).in_(ids)).order_by(col(OutboxRow.id))))


def received(tx: Session, ids: Collection[str]) -> list[InboxRow]:
    """Messages received, by id."""
    return list(tx.exec(select(InboxRow).where(col(InboxRow.id).in_(ids)).order_by(col(InboxRow.id))))


def sent_before(tx: Session, at: datetime, after: str) -> list[OutboxRow]:
    """The next messages put out before an instant, in the order of their ids, from `after` on."""
    chosen = select(OutboxRow).where(OutboxRow.id > after, OutboxRow.created_at < at)
    return list(tx.exec(chosen.order_by(col(OutboxRow.id)).limit(SLICE)))


def received_before(tx: Session, at: datetime, after: str) -> list[InboxRow]:
    """The next messages received before an instant, in the order of their ids, from `after` on."""
    chosen = select(InboxRow).where(InboxRow.id > after, InboxRow.received_at < at)
    return list(tx.exec(chosen.order_by(col(InboxRow.id)).limit(SLICE)))


def days_before(tx: Session, day: date, after: tuple[str, date] | None) -> list[tuple[str, date]]:
    """The next school days before a date of which a child's name or room is still kept, from `after` on."""
    named = or_(col(CheckRow.alias) != "", col(CheckRow.room) != "")
    chosen = select(col(CheckRow.school), col(CheckRow.date)).where(CheckRow.date < day, named)
    if after is not None:
        school, last = after
        same = (col(CheckRow.school) == school) & (col(CheckRow.date) > last)
        chosen = chosen.where(or_(col(CheckRow.school) > school, same))
    ordered = chosen.distinct().order_by(col(CheckRow.school), col(CheckRow.date))
    return list(tx.exec(ordered.limit(SLICE // 10)))


def oldest_named(tx: Session) -> date | None:
    """The date of the oldest check that still tells a child's name."""
    return tx.exec(select(func.min(CheckRow.date)).where(CheckRow.alias != "")).one()


def named_checks(tx: Session, day: tuple[str, date], without: Collection[str]) -> list[str]:
    """Ids of a day's checks that tell a child's name or room, but for those of the students `without`."""
    school, on = day
    chosen = select(CheckRow.id).where(CheckRow.school == school, CheckRow.date == on)
    named = chosen.where(or_(col(CheckRow.alias) != "", col(CheckRow.room) != ""))
    return list(tx.exec(named.where(col(CheckRow.student).not_in(sorted(without)))))


def unname_checks(tx: Session, ids: Iterable[str]) -> None:
    """Take name and room out of checks."""
    for some in parts(sorted(ids)):
        tx.exec(update(CheckRow).where(col(CheckRow.id).in_(some)).values(alias="", room=""))


def notices(tx: Session, before: date | None = None) -> list[NoticeRow]:
    """All notices, or those that held before a date."""
    chosen = select(NoticeRow)
    if before is not None:
        chosen = chosen.where(NoticeRow.last < before)
    return list(tx.exec(chosen.order_by(col(NoticeRow.id))))


def removed_entries(tx: Session, section: str, before: datetime | None = None) -> list[ConfigEntry]:
    """Entries of the configuration that are no longer in force and still say something."""
    chosen = select(ConfigEntry).where(ConfigEntry.section == section, col(ConfigEntry.removed_at).is_not(None))
    if before is not None:
        chosen = chosen.where(col(ConfigEntry.removed_at) < before)
    return [row for row in tx.exec(chosen.order_by(col(ConfigEntry.id))) if row.body]


def entry(tx: Session, section: str, id: str) -> ConfigEntry | None:
    """One entry of the configuration, in force or not."""
    return tx.get(ConfigEntry, (section, id))


def corrections(tx: Session) -> list[ServiceMark]:
    """What checkers said is different in the list of whom they check."""
    chosen = select(ServiceMark).where(col(ServiceMark.key).startswith("roster/", autoescape=True))
    return [row for row in tx.exec(chosen) if row.body.get("words")]


def values_about(tx: Session, abouts: Collection[str]) -> dict[str, str]:
    """Digests of the personal values of these entries, each with its stream."""
    found: dict[str, str] = {}
    for some in parts(sorted(abouts)):
        chosen = select(JournalValue.digest, JournalValue.stream).where(col(JournalValue.about).in_(some))
        found |= dict(tx.exec(chosen).all())
    return found


def values_naming(tx: Session, names: Names) -> dict[str, str]:
    """Digests of the personal values that name the child, each with its stream."""
    if not names.names:
        return {}
    chosen = select(JournalValue.digest, JournalValue.stream, JournalValue.value)
    found = tx.exec(chosen.where(names.held_in(JournalValue.value)))
    return {digest: stream for digest, stream, value in found if names.in_words(value)}
