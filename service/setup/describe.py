"""The stored documents of a district's values: `build` turned round, so that an edit can start from what is."""

from collections.abc import Iterable, Mapping
from datetime import date

from service.core.district import (
    Bell,
    ChainChoice,
    District,
    Person,
    School,
    Span,
)
from service.setup.build_student import choice_document, student_document
from service.setup.values import WEEKDAYS, write_span, write_times

Document = dict[str, object]


def people_and_places(district: District) -> dict[str, dict[str, Document]]:
    """The schools, people and students of a district as documents; `build` gives them back."""
    return {
        "schools": {id: school_document(school) for id, school in district.schools.items()},
        "people": {id: person_document(person) for id, person in district.people.items()},
        "students": {id: student_document(student) for id, student in district.students.items()},
    }


def person_document(person: Person) -> Document:
    """The stored form of a person."""
    document: Document = {"name": person.name}
    if person.roles:
        document["roles"] = [
            {held.role.value: list(held.schools)} if held.schools else held.role.value
            for held in person.roles
        ]
    if person.channels:
        document["channels"] = [{way.channel: _address(way.address)} for way in person.channels]
    if person.hours is not None:
        document["hours"] = {
            WEEKDAYS[day - 1]: write_times(*person.hours.days[day]) for day in sorted(person.hours.days)
        }
    if person.away:
        document["away"] = _spans(person.away)
    if person.deputies:
        document["deputies"] = [
            d.person if d.span is None else {d.person: write_span(d.span.first, d.span.last)}
            for d in person.deputies
        ]
    document |= {"language": person.language, "outside": person.outside}
    return document | _dates({"consent": person.consent, "left on": person.left_on})


def school_document(school: School) -> Document:
    """The stored form of a school."""
    document: Document = {"name": school.name, "zone": school.zone}
    if school.groups:
        document["groups"] = list(school.groups)
    document |= {"terms": _spans(school.terms), "closures": _spans(school.closures)}
    document["day types"] = {
        name: {
            "bells": _bells(day.bells),
            **({"variants": {v: _bells(bells) for v, bells in day.variants.items()}} if day.variants else {}),
        }
        for name, day in school.day_types.items()
    }
    document["week"] = {WEEKDAYS[day - 1]: school.week[day] for day in sorted(school.week)}
    if school.dates:
        document["dates"] = [{day.isoformat(): name} for day, name in school.dates.items()]
    if school.rotation is not None:
        document["rotation"] = {
            "labels": list(school.rotation.labels),
            "start": school.rotation.start.isoformat(),
            "restarts": [{day.isoformat(): label} for day, label in school.rotation.restarts.items()],
            "day types": dict(school.rotation.day_types),
        }
    if school.delayed_type is not None:
        document["delayed type"] = school.delayed_type
    return document | _choice(school.chains)


def _choice(choice: ChainChoice | None) -> Document:
    return {} if choice is None else {"chains": choice_document(choice)}


def _address(address: str) -> object:
    return {"env": address.removeprefix("env:")} if address.startswith("env:") else address


def _spans(spans: Iterable[Span]) -> list[object]:
    return [
        {span.name: write_span(span.first, span.last)} if span.name else write_span(span.first, span.last)
        for span in spans
    ]


def _bells(bells: Iterable[Bell]) -> list[object]:
    return [{bell.name: write_times(bell.start, bell.end)} for bell in bells]


def _dates(dates: Mapping[str, date | None]) -> Document:
    return {key: day.isoformat() for key, day in dates.items() if day is not None}
