"""A notice as people want to see it, before and after it is given."""

from dataclasses import dataclass

from service.core.notices import Notice, NoticeError
from service.engine.commands import preview_notice
from service.engine.desk import Moment
from service.engine.notices import reach
from service.languages import N_, dated, phrase


@dataclass(frozen=True)
class NoticeView:
    """A notice in words, with what it reaches. `id` is empty before it is given."""

    id: str
    text: str
    by: str
    days: str
    schools: tuple[str, ...]
    planned: int
    asked: int


def preview(m: Moment, line: str, by: str) -> NoticeView | NoticeError:
    """What a line would be read as and whom it would reach, without giving it."""
    read = preview_notice(m, line, by)
    return read if isinstance(read, NoticeError) else _notice(m, read, "")


def standing_notices(m: Moment) -> tuple[NoticeView, ...]:
    """The notices that hold today or later, latest first."""
    today = min((m.today(s) for s in m.district.schools), default=m.now.date())
    held = [n for n in m.notices if n.last >= today]
    return tuple(_notice(m, n, n.id) for n in sorted(held, key=lambda n: (n.at, n.id), reverse=True))


def _notice(m: Moment, notice: Notice, id: str) -> NoticeView:
    touched = reach(m, notice)
    author = m.district.people.get(notice.by)
    first, last = notice.first, notice.last
    days = dated(first, N_("EEE d MMM"))
    if last > first:
        days = phrase("%(first)s to %(last)s", first=days, last=dated(last, "EEE d MMM"))
    schools = tuple(m.school(s).name for s in touched.schools)
    return NoticeView(
        id, notice.text, author.name if author else notice.by, days, schools, touched.planned, touched.asked
    )
