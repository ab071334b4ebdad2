"""Schools, adults and students of an invented district, for the tests of days and routines."""

from datetime import UTC, date, datetime, time, timedelta

from service.core.days import NoSchool, SchoolDay, school_day
from service.core.district import (
    Bell,
    ChainChoice,
    DayType,
    District,
    Person,
    Role,
    RoleAt,
    Routine,
    School,
    Span,
    Student,
    When,
)
from service.core.notices import Notice, NoticeKind

MONDAY = date(2026, 11, 30)
FRIDAY = date(2026, 12, 4)
YEAR = Span(date(2026, 9, 1), date(2027, 6, 18), "the year")
EVENING_BEFORE = datetime(2026, 11, 29, 22, 0, tzinfo=UTC)


def bells(*periods: tuple[str, str, str | None]) -> tuple[Bell, ...]:
    return tuple(
        Bell(name, time.fromisoformat(start), time.fromisoformat(end) if end else None)
        for name, start, end in periods
    )


REGULAR = DayType(
    "regular",
    bells(
        ("Homeroom", "08:00", "08:10"),
        ("Period 1", "08:15", "09:00"),
        ("Period 2", "09:05", "09:50"),
        ("Lunch", "12:00", "12:30"),
        ("Period 6", "14:00", "15:00"),
    ),
)


def made_school(**changes: object) -> School:
    values: dict[str, object] = {
        "id": "hollow-road",
        "name": "Hollow Road School",
        "zone": "America/New_York",
        "terms": (YEAR,),
        "closures": (),
        "day_types": {"regular": REGULAR},
        "week": dict.fromkeys(range(1, 6), "regular"),
    }
    return School(**{**values, **changes})  # type: ignore[arg-type]


def adult(id: str, **changes: object) -> Person:
    values: dict[str, object] = {
        "id": id,
        "name": id.title(),
        "roles": (RoleAt(Role.CHECKER),),
        "channels": (),
    }
    return Person(**{**values, **changes})  # type: ignore[arg-type]


def routine(id: str = "morning", **changes: object) -> Routine:
    values: dict[str, object] = {
        "id": id,
        "when": When(at=time(8, 5)),
        "checker": "l-teal",
        "second": "a-moss",
    }
    return Routine(**{**values, **changes})  # type: ignore[arg-type]


def student(id: str, *routines: Routine, **changes: object) -> Student:
    values: dict[str, object] = {
        "id": id,
        "alias": id.title(),
        "school": "hollow-road",
        "room": "12",
        "devices": (),
        "routines": routines or (routine(),),
    }
    return Student(**{**values, **changes})  # type: ignore[arg-type]


def district(
    *students: Student, schools: tuple[School, ...] = (), people: tuple[Person, ...] = (), **changes: object
) -> District:
    adults = {p.id: p for p in (adult("l-teal"), adult("a-moss"), adult("n-slate"), *people)}
    values: dict[str, object] = {
        "name": "Quiet Valley",
        "schools": {s.id: s for s in schools or (made_school(),)},
        "people": adults,
        "students": {s.id: s for s in students},
        "chains": {},
        "choice": ChainChoice(),
        "channels": {},
        "emergency": None,
    }
    return District(**{**values, **changes})  # type: ignore[arg-type]


def notice(kind: NoticeKind, first: date = MONDAY, last: date | None = None, **changes: object) -> Notice:
    at = changes.get("at", EVENING_BEFORE)
    values: dict[str, object] = {
        "id": f"nt-{kind}-{at}",
        "kind": kind,
        "first": first,
        "last": last or first,
        "by": "c-green",
        "at": at,
    }
    return Notice(**{**values, **changes})  # type: ignore[arg-type]


def open_day(school: School, day: date = MONDAY, notices: tuple[Notice, ...] = ()) -> SchoolDay:
    found = school_day(school, day, notices)
    assert isinstance(found, SchoolDay), found
    return found


def shut_day(school: School, day: date = MONDAY, notices: tuple[Notice, ...] = ()) -> NoSchool:
    found = school_day(school, day, notices)
    assert isinstance(found, NoSchool), found
    return found


def new_york(text: str, day: date = MONDAY) -> datetime:
    """The instant of a winter wall-clock time in New York (UTC-5)."""
    return datetime.combine(day, time.fromisoformat(text), tzinfo=UTC) + timedelta(hours=5)
