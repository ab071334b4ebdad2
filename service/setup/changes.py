"""What is different between two configurations, so that somebody can look before it counts."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from service.setup.docs import Document, Documents
from service.setup.schema import SECTIONS

Kind = Literal["added", "changed", "removed"]


@dataclass(frozen=True)
class Field:
    """One value that differs; `old` is None where it is new, `new` is None where it is gone."""

    name: str
    old: object
    new: object

    def __str__(self) -> str:
        if self.old is None:
            return f"{self.name}: {_shown(self.new)}"
        if self.new is None:
            return f"{self.name}: no longer {_shown(self.old)}"
        return f"{self.name}: {_shown(self.old)} becomes {_shown(self.new)}"


@dataclass(frozen=True)
class Change:
    """One document that is added, changed or removed, with the values that differ."""

    section: str
    id: str
    kind: Kind
    fields: tuple[Field, ...]

    def __str__(self) -> str:
        return f"{self.section} {self.id} {self.kind}"


def compare(old_documents: Documents, new_documents: Documents) -> tuple[Change, ...]:
    """Every document that differs, in the order of the sections and then of the ids; empty where none does."""
    sections = [*SECTIONS, *sorted({*old_documents, *new_documents} - set(SECTIONS))]
    return tuple(
        change
        for section in sections
        for change in _section(section, old_documents.get(section, {}), new_documents.get(section, {}))
    )


def _section(name: str, old: Mapping[str, Document], new: Mapping[str, Document]) -> Iterator[Change]:
    for id in sorted({*old, *new}):
        before, after = old.get(id), new.get(id)
        fields = _fields(before or {}, after or {})
        if before is None:
            yield Change(name, id, "added", fields)
        elif after is None:
            yield Change(name, id, "removed", fields)
        elif fields:
            yield Change(name, id, "changed", fields)


def _fields(old: Document, new: Document) -> tuple[Field, ...]:
    before, after = dict(_flat(old, "")), dict(_flat(new, ""))
    names = [*after, *(name for name in before if name not in after)]
    return tuple(
        Field(name, before.get(name), after.get(name))
        for name in names
        if before.get(name) != after.get(name)
    )


def _flat(document: Document, within: str) -> Iterator[tuple[str, object]]:
    for key, value in document.items():
        name = f"{within} / {key}" if within else key
        if isinstance(value, Mapping) and value:
            yield from _flat(value, name)
        else:
            yield name, value


def _shown(value: object) -> str:
    if isinstance(value, list | tuple):
        return ", ".join(_shown(item) for item in value) or "none"
    if isinstance(value, Mapping):
        return ", ".join(f"{key}: {_shown(item)}" for key, item in value.items()) or "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)
