"""From judged documents to the values of the core: the one way, for a folder and for the store alike."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date, timedelta

from service.core.district import (
    ChainChoice,
    ChannelSetup,
    Deputy,
    DeviceKind,
    District,
    EmergencyLines,
    FaultText,
    Heartbeat,
    Hours,
    Person,
    Reachable,
    Role,
    RoleAt,
    Settings,
    Severity,
    Span,
)
from service.setup.build_chain import build_chain
from service.setup.build_school import build_school, choice_of, spans
from service.setup.build_shelf import build_shelf
from service.setup.build_student import Students
from service.setup.docs import Document, Documents, View, section
from service.setup.values import WEEKDAYS, read_date, read_duration, read_span, read_times

OUTSIDE_ROLES = (Role.GUARDIAN.value, Role.CLINIC.value)
_CHANNEL_KEYS = ("kind", "shared")
_COUNTS = ("last again times",)


def build(documents: Documents, large: Mapping[str, Iterable[tuple[str, Document]]] | None = None) -> District:
    """The district of judged documents (section to id to document), in their order. `large` are sections whose
    documents come one by one, since there are too many to be held at once.

    Documents come from `load` without errors, or from the store where such documents were kept; others raise
    ValueError, KeyError or TypeError.
    """
    each = {name: entries.items() for name, entries in documents.items()} | dict(large or {})
    made = Students()
    district = section(documents, "district")["district"]
    language = district.text("language", "en")
    return District(
        name=district.text("name"),
        schools={id: build_school(id, view) for id, view in section(documents, "schools").items()},
        people={id: build_person(id, View(document), language) for id, document in each.get("people", ())},
        students={id: made.build(id, View(document)) for id, document in each.get("students", ())},
        chains={id: build_chain(id, view) for id, view in section(documents, "chains").items()},
        choice=choice_of(district) or ChainChoice(),
        channels={id: _channel(id, view) for id, view in section(documents, "channels").items()},
        emergency=_emergency(district),
        settings=_settings(section(documents, "settings").get("settings", View({}))),
        faults={code: _fault(code, view) for code, view in section(documents, "faults").items()},
        language=language,
        heartbeat=_heartbeat(district),
        supplies={id: build_shelf(id, view) for id, view in section(documents, "supplies").items()},
    )


def build_person(id: str, view: View, language: str = "en") -> Person:
    """A person of a stored document, who reads `language` where it names no other."""
    roles = tuple(RoleAt(Role(role), _words(schools)) for role, schools in view.pairs("roles"))
    return Person(
        id=id,
        name=view.text("name"),
        roles=roles,
        channels=tuple(Reachable(name, _address(address)) for name, address in view.pairs("channels")),
        hours=_hours(view) if view.has("hours") else None,
        away=spans(view, "away"),
        deputies=tuple(_deputy(person, dates) for person, dates in view.pairs("deputies")),
        language=view.text("language", language),
        outside=is_outside(view),
        consent=_date(view, "consent"),
        left_on=_date(view, "left on"),
    )


def is_outside(view: View) -> bool:
    """Whether a person is outside the district: as the document says, else by being a guardian or a clinic."""
    return view.flag("outside", any(role in OUTSIDE_ROLES for role, _ in view.pairs("roles")))


def _words(value: object) -> tuple[str, ...]:
    return tuple(str(item) for item in value) if isinstance(value, list | tuple) else ()


def _address(value: object) -> str:
    return f"env:{value['env']}" if isinstance(value, Mapping) else str(value)


def _hours(view: View) -> Hours:
    days = {}
    for weekday, times in view.view("hours").of.items():
        start, end = read_times(str(times))
        days[WEEKDAYS.index(weekday) + 1] = (start, end or start)
    return Hours(days)


def _deputy(person: str, dates: object) -> Deputy:
    return Deputy(person, None if dates is None else Span(*read_span(str(dates))))


def _date(view: View, key: str) -> date | None:
    text = view.maybe(key)
    return None if text is None else read_date(text)


def _channel(name: str, view: View) -> ChannelSetup:
    options = {key: value for key, value in view.of.items() if key not in _CHANNEL_KEYS}
    return ChannelSetup(name, view.text("kind"), view.flag("shared"), options)


def _emergency(district: View) -> EmergencyLines | None:
    if not district.has("emergency"):
        return None
    lines = district.view("emergency")
    return EmergencyLines(
        lines.text("number"), lines.text("text"), lines.maybe("poison"), lines.flag("names child")
    )


def _heartbeat(district: View) -> Heartbeat | None:
    if not district.has("heartbeat"):
        return None
    view = district.view("heartbeat")
    options = {key: value for key, value in view.of.items() if key != "every"}
    return Heartbeat(ChannelSetup("heartbeat", "webhook", options=options), read_duration(view.text("every")))


def _settings(view: View) -> Settings:
    waits = {
        key.replace(" ", "_"): read_duration(str(value))
        for key, value in view.of.items()
        if key not in (*_COUNTS, "settle in", "keep for")
    }
    plain = Settings()
    return replace(
        plain,
        **waits,
        last_again_times=view.whole("last again times", plain.last_again_times),
        settle_in_days=int(view.text("settle in", str(plain.settle_in_days)).split()[0]),
        keep_for_years=int(view.text("keep for", str(plain.keep_for_years)).split()[0]),
    )


def _fault(code: str, view: View) -> FaultText:
    severity = view.maybe("severity")
    return FaultText(
        code=code,
        words=view.texts("words"),
        severity=Severity(severity.replace(" ", "_")) if severity else None,
        try_for=_length(view, "try for"),
        label=view.maybe("label"),
        remedy=view.texts("remedy") if view.has("remedy") else None,
        devices=tuple(DeviceKind(kind) for kind in view.texts("devices")) if view.has("devices") else None,
        never=view.texts("never") if view.has("never") else None,
    )


def _length(view: View, key: str) -> timedelta | None:
    text = view.maybe(key)
    return None if text is None else read_duration(text)
