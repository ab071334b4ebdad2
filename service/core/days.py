"""A school's day as instants: calendar, bells, rotation and notices put together.

All instants are aware and in UTC, so that they compare and add as instants do. What decides a day:

* Outside every term, or in a closure, there is no school; a closure beats a dated day type.
* The day type is that of the date, else the rotation's, else the weekday's. A dated day type makes a school
  day of a weekday that has none. A weekday without a day type has no school, whatever the rotation says.
* Cycle days advance on school days only. A day closed by notice is no school day: the label it would have
  had goes to the next one, unless a restart says otherwise. A restart on a day without school holds from the
  next.
* `closed` stands until it is withdrawn, whatever else is said. Of several delays the last one given counts;
  the same goes for early ends.
* A delay puts the school's `delayed_type` in force. Without one, every bell that is not over when the notice
  is given moves by the delay; the last bell stays where it was, because buses do. A period that would begin
  at or after it does not happen, and one that would run over it ends with it.
* After an early end no bell rings; the period it falls into ends then.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from service.core.district import Bell, School, Span
from service.core.notices import Notice, NoticeKind, latest
from service.core.zones import UnknownZoneError, version, zone

__all__ = [
    "BellTime", "NoSchool", "SchoolDay", "UnknownZoneError", "bell", "clock", "cycle_day", "instant",
    "school_day", "school_minutes", "stray_dates", "version", "zone",
]  # fmt: skip


@dataclass(frozen=True)
class BellTime:
    """A period of a day as instants in UTC; `end` is None where nobody said when it ends."""

    name: str
    start: datetime
    end: datetime | None = None


@dataclass(frozen=True)
class SchoolDay:
    """A date with school. `bells` are in order of time; `first` and `last` bound them and their variants.

    `late` is how much later than planned a notice lets the day open, and `moved` whether it did so by moving
    the bells (rather than by the delayed day type).
    """

    school: str
    date: date
    day_type: str
    cycle_day: str | None
    bells: tuple[BellTime, ...]
    variants: Mapping[str, tuple[BellTime, ...]]
    first: datetime
    last: datetime
    zone: str
    late: timedelta = timedelta()
    moved: bool = False


@dataclass(frozen=True)
class NoSchool:
    """A date without school, and why."""

    school: str
    date: date
    reason: str


def instant(day: date, at: time, zone: ZoneInfo) -> datetime:
    """The instant, in UTC, at which clocks in `zone` show `at` on `day`.

    A time that is shown twice means the first; one that is skipped is read with the offset before the gap
    (RFC 5545, section 3.3.5).
    """
    return datetime.combine(day, at.replace(fold=0), tzinfo=zone).astimezone(UTC)


def school_day(school: School, day: date, notices: Sequence[Notice] = ()) -> SchoolDay | NoSchool:
    """What `day` is at `school`, with the notices given so far."""
    reason = _shut(school, day, notices)
    if reason:
        return NoSchool(school.id, day, reason)
    label = cycle_day(school, day, notices)
    planned = _day_of(school, day, _type_name(school, day, label), label)
    delay = latest(notices, NoticeKind.DELAY, school.id, day)
    if delay is not None and isinstance(planned, SchoolDay):
        planned = _delayed(school, planned, delay)
    early = latest(notices, NoticeKind.EARLY_END, school.id, day)
    if early is not None and early.ends is not None and isinstance(planned, SchoolDay):
        planned = _cut(planned, instant(day, early.ends, zone(school.zone)), "it ends before the first bell")
    return planned


def cycle_day(school: School, day: date, notices: Sequence[Notice] = ()) -> str | None:
    """The rotation's label for `day`; None without one, before it starts, and without school."""
    rotation = school.rotation
    if rotation is None or not rotation.labels or day < rotation.start or _shut(school, day, notices):
        return None
    begun, label = max(
        ((start, label) for start, label in rotation.restarts.items() if rotation.start <= start <= day),
        default=(rotation.start, rotation.labels[0]),
    )
    closed = [n for n in notices if n.kind is NoticeKind.CLOSED]
    before = (begun + timedelta(days=n) for n in range((day - begun).days))
    gone_by = sum(1 for d in before if not _shut(school, d, closed))
    return rotation.labels[(rotation.labels.index(label) + gone_by) % len(rotation.labels)]


def bell(day: SchoolDay, name: str, edge: str = "start", variant: str | None = None) -> datetime | None:
    """When the bell `name` rings on `day`, or None where it does not, or its end is not known.

    A variant that does not name the bell, or that this day does not have, leaves it to the school's own.
    """
    own = day.variants.get(variant, ()) if variant else ()
    for period in (*own, *day.bells):
        if period.name == name:
            return period.end if edge == "end" else period.start
    return None


def clock(day: SchoolDay, at: time) -> datetime:
    """The instant of the wall-clock time `at` on `day`, moved as a delay moves what is not tied to a bell.

    Where the bells moved, so does `at`, unless that takes it to the last bell or beyond. Where a delayed day
    type is in force, only what would come before the day opens moves.
    """
    planned = instant(day.date, at, zone(day.zone))
    moved = planned + day.late
    if day.moved:
        return moved if moved < day.last or planned < day.first else planned
    return moved if planned < day.first else planned


def school_minutes(day: SchoolDay | NoSchool, start: datetime, end: datetime) -> int:
    """Whole minutes between two instants that lie between the day's first and last bell."""
    if isinstance(day, NoSchool):
        return 0
    inside = min(end, day.last) - max(start, day.first)
    return max(0, inside // timedelta(minutes=1))


def stray_dates(school: School) -> tuple[Span, ...]:
    """Closures, dated day types and restarts outside every term: of no use there, so most likely a slip."""
    dated = [Span(d, d, name) for d, name in school.dates.items()]
    restarts = school.rotation.restarts.items() if school.rotation else ()
    marked = [*school.closures, *dated, *(Span(d, d, label) for d, label in restarts)]
    return tuple(m for m in marked if not any(m.first <= t.last and m.last >= t.first for t in school.terms))


def _shut(school: School, day: date, notices: Sequence[Notice]) -> str | None:
    if not any(term.holds(day) for term in school.terms):
        return "outside the terms"
    for closure in school.closures:
        if closure.holds(day):
            return closure.name or "closure"
    if day not in school.dates and day.isoweekday() not in school.week:
        return f"no school on {_WEEKDAY_NAMES[day.weekday()]}"
    if any(n.kind is NoticeKind.CLOSED and n.holds(school.id, day) for n in notices):
        return "closed by notice"
    return None


_WEEKDAY_NAMES = ("Mondays", "Tuesdays", "Wednesdays", "Thursdays", "Fridays", "Saturdays", "Sundays")


def _type_name(school: School, day: date, label: str | None) -> str:
    if day in school.dates:
        return school.dates[day]
    by_rotation = school.rotation.day_types if school.rotation else {}
    if label is not None and label in by_rotation:
        return by_rotation[label]
    return school.week[day.isoweekday()]


def _day_of(school: School, day: date, type_name: str, label: str | None) -> SchoolDay | NoSchool:
    day_type = school.day_types[type_name]
    where = zone(school.zone)
    bells = _rung(day_type.bells, day, where)
    variants = {name: _rung(own, day, where) for name, own in day_type.variants.items()}
    if not _all_bells(bells, variants):
        return NoSchool(school.id, day, f"{type_name} has no bells")
    first, last = _bounds(bells, variants)
    return SchoolDay(school.id, day, type_name, label, bells, variants, first, last, school.zone)


def _rung(bells: Sequence[Bell], day: date, where: ZoneInfo) -> tuple[BellTime, ...]:
    rung = []
    for period in bells:
        start = instant(day, period.start, where)
        # A clock change inside a period can put its end before its start.
        end = max(start, instant(day, period.end, where)) if period.end is not None else None
        rung.append(BellTime(period.name, start, end))
    return tuple(sorted(rung, key=lambda b: b.start))


def _all_bells(bells: Sequence[BellTime], variants: Mapping[str, Sequence[BellTime]]) -> list[BellTime]:
    return [*bells, *(b for own in variants.values() for b in own)]


def _bounds(
    bells: Sequence[BellTime], variants: Mapping[str, Sequence[BellTime]]
) -> tuple[datetime, datetime]:
    everything = _all_bells(bells, variants)
    return min(b.start for b in everything), max(b.end or b.start for b in everything)


def _delayed(school: School, planned: SchoolDay, notice: Notice) -> SchoolDay | NoSchool:
    if school.delayed_type is not None:
        opened = _day_of(school, planned.date, school.delayed_type, planned.cycle_day)
        if isinstance(opened, NoSchool):
            return opened
        return replace(opened, late=max(timedelta(), opened.first - planned.first))
    by = notice.delay or timedelta()
    bells = _moved(planned.bells, by, notice.at, planned.last)
    variants = {name: _moved(own, by, notice.at, planned.last) for name, own in planned.variants.items()}
    first, _ = _bounds(bells, variants)
    moved = replace(planned, bells=bells, variants=variants, first=first, late=by, moved=True)
    return _cut(moved, planned.last, "the delay lasts until the last bell")


def _moved(bells: Sequence[BellTime], by: timedelta, said: datetime, last: datetime) -> tuple[BellTime, ...]:
    def stays(period: BellTime) -> bool:
        return (period.end or period.start) <= said or period.start == last

    moved = (b if stays(b) else BellTime(b.name, b.start + by, b.end + by if b.end else None) for b in bells)
    return tuple(sorted(moved, key=lambda b: b.start))


def _cut(day: SchoolDay, at: datetime, reason: str) -> SchoolDay | NoSchool:
    if at <= day.first:
        return NoSchool(day.school, day.date, reason)
    bells = _until(day.bells, at)
    variants = {name: _until(own, at) for name, own in day.variants.items()}
    return replace(day, bells=bells, variants=variants, last=min(day.last, at))


def _until(bells: Sequence[BellTime], at: datetime) -> tuple[BellTime, ...]:
    kept = (b for b in bells if b.start < at or (b.start == at and b.end is None))
    return tuple(replace(b, end=min(b.end, at)) if b.end else b for b in kept)
