"""Stored documents seen with their types: a judged document read without doubt, one not yet judged with care."""

from collections.abc import Mapping
from dataclasses import dataclass

Document = Mapping[str, object]
Documents = Mapping[str, Mapping[str, Document]]


@dataclass(frozen=True)
class View:
    """A mapping of a document; what is absent reads as empty."""

    of: Document

    def has(self, key: str) -> bool:
        """Whether the key is there."""
        return key in self.of

    def text(self, key: str, otherwise: str = "") -> str:
        """One value as text."""
        return str(self.of.get(key, otherwise))

    def maybe(self, key: str) -> str | None:
        """One value as text, or None."""
        value = self.of.get(key)
        return None if value is None else str(value)

    def flag(self, key: str, otherwise: bool = False) -> bool:
        """A yes or no."""
        return bool(self.of.get(key, otherwise))

    def whole(self, key: str, otherwise: int) -> int:
        """A whole number."""
        value = self.of.get(key, otherwise)
        return value if isinstance(value, int) else otherwise

    def items(self, key: str) -> tuple[object, ...]:
        """The entries of a list."""
        value = self.of.get(key, ())
        return tuple(value) if isinstance(value, list | tuple) else ()

    def texts(self, key: str) -> tuple[str, ...]:
        """The entries of a list of words."""
        return tuple(str(item) for item in self.items(key))

    def view(self, key: str) -> "View":
        """A mapping within."""
        return view(self.of.get(key))

    def views(self, key: str) -> dict[str, "View"]:
        """A mapping of mappings within."""
        return {name: view(value) for name, value in self.view(key).of.items()}

    def pairs(self, key: str) -> tuple[tuple[str, object], ...]:
        """An ordered list of names and values; a name alone has None."""
        return tuple(pair(item) for item in self.items(key))


def view(value: object) -> View:
    """A view of a mapping; anything else reads as an empty one."""
    return View(value if isinstance(value, Mapping) else {})


def pair(item: object) -> tuple[str, object]:
    """Name and value of one entry of an ordered list."""
    if isinstance(item, Mapping):
        name, value = next(iter(item.items()))
        return str(name), value
    return str(item), None


def section(documents: Documents, name: str) -> dict[str, View]:
    """The documents of a section by id."""
    return {id: view(document) for id, document in documents.get(name, {}).items()}
