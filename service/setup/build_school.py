"""Schools, from stored documents to the values of the core."""

from datetime import date, timedelta

from service.core.district import Bell, ChainChoice, DayType, Rotation, School, Span
from service.setup.docs import View
from service.setup.values import WEEKDAYS, read_date, read_span, read_times


def build_school(id: str, document: View) -> School:
    """A school of a stored document."""
    week = build_week(document)
    return School(
        id=id,
        name=document.text("name"),
        zone=document.text("zone"),
        terms=spans(document, "terms"),
        closures=spans(document, "closures"),
        day_types={name: _day_type(name, day) for name, day in document.views("day types").items()},
        week=week,
        dates=build_dates(document, week),
        rotation=_rotation(document.view("rotation")) if document.has("rotation") else None,
        delayed_type=document.maybe("delayed type"),
        groups=document.texts("groups"),
        chains=choice_of(document),
    )


def build_week(document: View) -> dict[int, str]:
    """ISO weekday to day type."""
    return {WEEKDAYS.index(weekday) + 1: str(name) for weekday, name in document.view("week").of.items()}


def build_dates(document: View, week: dict[int, str]) -> dict[date, str]:
    """Dates with a day type of their own. One date counts on any weekday; of a range only the weekdays that have
    school, so that a fortnight of late starts opens no Saturday.
    """
    dates: dict[date, str] = {}
    for written, name in document.pairs("dates"):
        first, last = read_span(written)
        for day in days_of(first, last):
            if first == last or day.isoweekday() in week:
                dates[day] = str(name)
    return dates


def days_of(first: date, last: date) -> tuple[date, ...]:
    """Every date from first to last."""
    return tuple(first + timedelta(days=n) for n in range((last - first).days + 1))


def build_bells(entries: tuple[tuple[str, object], ...]) -> tuple[Bell, ...]:
    """The bells of an ordered list."""
    return tuple(Bell(name, *read_times(str(times))) for name, times in entries)


def choice_of(document: View) -> ChainChoice | None:
    """The chains that a district, school or student chooses, or None where it says nothing of chains."""
    if not document.has("chains"):
        return None
    chosen = document.view("chains")
    return ChainChoice(
        silence=chosen.maybe("silence"),
        watch=chosen.maybe("watch"),
        same_day=chosen.maybe("same day"),
        urgent=chosen.maybe("urgent"),
        emergency=chosen.maybe("emergency"),
    )


def spans(document: View, key: str) -> tuple[Span, ...]:
    """The spans of an ordered list, named or not."""
    found = []
    for name, dates in document.pairs(key):
        first, last = read_span(name if dates is None else str(dates))
        found.append(Span(first, last, "" if dates is None else name))
    return tuple(found)


def _day_type(name: str, day: View) -> DayType:
    variants = {
        variant: build_bells(day.view("variants").pairs(variant)) for variant in day.view("variants").of
    }
    return DayType(name, build_bells(day.pairs("bells")), variants)


def _rotation(rotation: View) -> Rotation:
    return Rotation(
        labels=rotation.texts("labels"),
        start=read_date(rotation.text("start")),
        restarts={read_date(day): str(label) for day, label in rotation.pairs("restarts")},
        day_types={label: str(name) for label, name in rotation.view("day types").of.items()},
    )
