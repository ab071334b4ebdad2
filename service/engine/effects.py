"""What a configuration would do to the checks that are planned for today, before it is put into force."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from service.core.days import school_day
from service.core.district import District, School
from service.core.notices import Notice
from service.core.routines import PlannedRound
from service.core.routines import rounds as rounds_of
from service.core.zones import zone
from service.engine.codec import decode
from service.engine.desk import NOTICE_REACH, Moment
from service.setup import build
from service.store import notices, rounds
from service.store.tables import CheckRow, RoundRow

Documents = Mapping[str, Mapping[str, Mapping[str, Any]]]


@dataclass(frozen=True)
class Effect:
    """One check of today and what becomes of it, in plain words."""

    check: str
    what: str

    def __str__(self) -> str:
        return f"{self.check}: {self.what}"


def effects_of(m: Moment, documents: Documents) -> tuple[Effect, ...]:
    """What becomes of today's checks if `documents` came into force now; those that stay are not named."""
    district = build(documents)
    known = _notices(m)
    return tuple(
        effect
        for school in district.schools.values()
        for effect in _of_school(m, district, school, known, m.now.astimezone(zone(school.zone)).date())
    )


def _notices(m: Moment) -> tuple[Notice, ...]:
    today = m.now.date()
    rows = notices.active(m.tx, today - NOTICE_REACH, today + NOTICE_REACH)
    return tuple(decode(Notice, row.body) for row in rows)


def _of_school(
    m: Moment, district: District, school: School, known: tuple[Notice, ...], today: date
) -> Iterator[Effect]:
    planned = rounds_of(district, school_day(school, today, known), known)
    new = {check.id: each for each in planned for check in each.checks}
    held = {row.id: row for row in rounds.of_day(m.tx, school.id, today)}
    old = {check.id: check for check in rounds.checks_of_day(m.tx, school.id, today)}
    for id in sorted({*new, *old}):
        what = _what(new.get(id), old.get(id), held, school, m.now)
        if what:
            yield Effect(id, what)


def _what(
    new: PlannedRound | None,
    old: CheckRow | None,
    held: Mapping[str, RoundRow],
    school: School,
    now: datetime,
) -> str:
    """What becomes of one check; nothing for one that stays, and for one that has its result."""
    if old is None:
        return f"new, due {_wall(new.due, school)} from {new.checker}" if new and new.due > now else ""
    before = held.get(old.round_id)
    if old.state == "closed" or before is None:
        return ""
    if new is None:
        return "no check today" + (" (already asked: they are told)" if old.state == "asked" else "")
    if new.id == before.id and new.due == before.due:
        return ""
    return (
        f"moves from {_wall(before.due, school)} {before.checker} to {_wall(new.due, school)} {new.checker}"
    )


def _wall(at: datetime, school: School) -> str:
    return f"{at.astimezone(zone(school.zone)):%H:%M}"
