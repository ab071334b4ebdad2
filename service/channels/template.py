"""From our message to whatever JSON a receiver wants.

A template is a structure of mappings, lists and plain values; `{field}` in its text leaves is filled in from
the parcel, `{{` and `}}` stand for braces. A leaf that is nothing but one field keeps its kind, and becomes null
where the parcel has no such value; inside other text it becomes nothing. A JSON library writes the result.
"""

import json
from collections.abc import Callable, Collection, Iterator, Mapping
from difflib import get_close_matches
from string import Formatter

from service.channels.protocol import Parcel

_READ: Mapping[str, Callable[[Parcel], str | None]] = {
    "id": lambda parcel: parcel.id,
    "purpose": lambda parcel: parcel.purpose,
    "subject": lambda parcel: parcel.subject,
    "lock_line": lambda parcel: parcel.lock_line,
    "text": lambda parcel: parcel.text,
    "link": lambda parcel: parcel.link,
    "thread": lambda parcel: parcel.thread,
    "in_reply_to": lambda parcel: parcel.in_reply_to,
    "at": lambda parcel: parcel.at.isoformat(),
    "automatic": lambda parcel: parcel.automatic,
}
FIELDS = ("to", *_READ)
"""The fields every template may name; `to` is empty where the receiver's web address is the person's own."""

DEFAULT: Mapping[str, object] = {name: "{" + name + "}" for name in FIELDS}
"""What is sent where a channel has no template of its own: every field under its own name."""

Values = Mapping[str, str | int | None]


def values_of(parcel: Parcel, to: str) -> dict[str, str | int | None]:
    """Every field of the parcel by name."""
    own: dict[str, str | int | None] = {name: read(parcel) for name, read in _READ.items()}
    return {**parcel.fields, **own, "to": to}


def fill(template: object, values: Values) -> bytes:
    """The filled template as JSON. KeyError cannot come from a template that `problems_of` found good."""
    return json.dumps(_filled(template, values), separators=(",", ":")).encode("ascii")


def _filled(part: object, values: Values) -> object:
    if isinstance(part, Mapping):
        return {str(name): _filled(inner, values) for name, inner in part.items()}
    if isinstance(part, list | tuple):
        return [_filled(inner, values) for inner in part]
    if isinstance(part, str):
        return _filled_text(part, values)
    return part


def _filled_text(leaf: str, values: Values) -> str | int | None:
    pieces = [(literal, name) for literal, name, _, _ in Formatter().parse(leaf)]
    if len(pieces) == 1 and not pieces[0][0] and pieces[0][1] is not None:
        return values.get(pieces[0][1])
    return "".join(literal + _spelled(values.get(name) if name else None) for literal, name in pieces)


def _spelled(value: str | int | None) -> str:
    return "" if value is None else str(value)


def problems_of(template: object, more_fields: Collection[str] = ()) -> tuple[str, ...]:
    """What is wrong with a template, each in plain words with the place and what would be right."""
    return tuple(_wrongs(template, "template", (*FIELDS, *more_fields)))


def _wrongs(part: object, where: str, known: Collection[str]) -> Iterator[str]:
    if isinstance(part, Mapping):
        for name, inner in part.items():
            yield from _wrongs(inner, f"{where}.{name}", known)
    elif isinstance(part, list | tuple):
        for number, inner in enumerate(part):
            yield from _wrongs(inner, f"{where}[{number}]", known)
    elif isinstance(part, str):
        yield from _wrong_fields(part, where, known)
    elif part is not None and not isinstance(part, bool | int | float):
        yield f"{where}: {type(part).__name__} has no place in JSON; write it as text"


def _wrong_fields(leaf: str, where: str, known: Collection[str]) -> Iterator[str]:
    try:
        pieces = list(Formatter().parse(leaf))
    except ValueError:
        yield f"{where}: a single brace; write {{{{ or }}}} for a brace, {{text}} for a field"
        return
    for _, name, form, conversion in pieces:
        if name is None or (name in known and not form and not conversion):
            continue
        near = get_close_matches(name, known, 1)
        advice = f"did you mean {{{near[0]}}}?" if near else "known are " + ", ".join(known)
        yield f"{where}: unknown field {{{name}}}; {advice}"
