"""Frozen dataclasses of the core to JSON values and back, by their own type hints. No second schema."""

import types
import typing
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from datetime import date, datetime, time, timedelta
from enum import Enum
from functools import cache
from typing import Any, TypeVar

T = TypeVar("T")
Encoder = Callable[[Any], Any]
Decoder = Callable[[Any], Any]

PLAIN = frozenset({str, int, float, bool, type(None)})
"""What is in JSON as it is."""


def encode(value: Any) -> Any:
    """A JSON value for a dataclass, enum, instant, date, time, duration (seconds), mapping or sequence."""
    kind: Any = type(value)
    return value if kind in PLAIN else _encoder(kind)(value)


def encode_anew(value: Any, before: Any, written: Mapping[str, Any]) -> dict[str, Any]:
    """What `encode` makes of a dataclass that came from `before`, which is `written` already: what did not change
    is taken from there.
    """
    now, then = vars(value), vars(before)
    same = dict(written) if written.keys() == now.keys() else {}
    changed = {name: encode(one) for name, one in now.items() if name not in same or one is not then[name]}
    return {**same, **changed}


def decode(kind: type[T], data: Any) -> T:
    """The value of type `kind` that `encode` wrote as `data`."""
    return typing.cast("T", _decoder(typing.cast("Any", kind))(data))


@cache
def _encoder(kind: type) -> Encoder:
    """How a kind is written, worked out once: thousands of chases are written at a bell."""
    if issubclass(kind, Enum):
        return lambda value: value.value
    if issubclass(kind, timedelta):
        return timedelta.total_seconds
    if issubclass(kind, datetime | date | time):
        return typing.cast("Encoder", kind.isoformat)
    if is_dataclass(kind):
        return _dataclass_encoder(kind)
    if issubclass(kind, Mapping):
        return lambda value: {str(k): encode(v) for k, v in value.items()}
    if issubclass(kind, frozenset):
        return lambda value: sorted([encode(v) for v in value])
    return _same if issubclass(kind, str | int | float) else lambda value: [encode(v) for v in value]


def _dataclass_encoder(kind: type) -> Encoder:
    names = tuple(f.name for f in fields(kind))

    def encoded(value: Any) -> dict[str, Any]:
        written = {}
        for name in names:
            one = getattr(value, name)
            of: Any = type(one)
            written[name] = one if of in PLAIN else _encoder(of)(one)
        return written

    return encoded


def _same(data: Any) -> Any:
    return data


@cache
def _decoder(kind: Any) -> Decoder:
    """How a kind is read, worked out once, None being None."""
    made = _made(kind)
    return made if made is _same else lambda data: None if data is None else made(data)


def _made(kind: Any) -> Decoder:
    origin, args = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        (inner,) = (a for a in args if a is not type(None))
        return _decoder(inner)
    if origin is tuple:
        return _tuple_decoder(args)
    if origin is frozenset:
        member = _decoder(args[0])
        return lambda data: frozenset([member(v) for v in data])
    if origin is not None and issubclass(origin, Mapping):
        key, value = _decoder(args[0]), _decoder(args[1])
        return lambda data: {key(k): value(v) for k, v in data.items()}
    return _plain_decoder(kind)


def _tuple_decoder(args: tuple[Any, ...]) -> Decoder:
    if len(args) == 2 and args[1] is Ellipsis:
        member = _decoder(args[0])
        return tuple if member is _same else lambda data: tuple([member(v) for v in data])
    members = [_decoder(a) for a in args]
    return lambda data: tuple([member(v) for member, v in zip(members, data, strict=True)])


def _plain_decoder(kind: Any) -> Decoder:
    if is_dataclass(kind):
        return _dataclass_decoder(typing.cast("type", kind))
    if kind is int:
        return int
    if kind is timedelta:
        return lambda data: timedelta(seconds=data)
    if kind in (datetime, date, time):
        return typing.cast("Decoder", kind.fromisoformat)
    if isinstance(kind, type) and issubclass(kind, Enum):
        return kind
    return _same


def _dataclass_decoder(kind: type) -> Decoder:
    table = {name: _decoder(hint) for name, hint in typing.get_type_hints(kind).items()}
    names = frozenset(table)
    read = [(name, decoder) for name, decoder in table.items() if decoder is not _same]
    make = _maker(kind)

    def decoded(data: Mapping[str, Any]) -> Any:
        whole = data.keys() <= names
        values = dict(data) if whole else {name: v for name, v in data.items() if name in names}
        for name, decoder in read:
            held = values.get(name)
            if held is not None:
                values[name] = decoder(held)
        return make(values)

    return decoded


def _maker(kind: type) -> Callable[[dict[str, Any]], Any]:
    """Makes a value of all its fields. A frozen dataclass puts them in place one by one, through a guard; where
    none is missing and the class has nothing to say to them, they are put there together.
    """
    count = len(fields(kind))
    if hasattr(kind, "__post_init__") or hasattr(kind, "__slots__"):
        return lambda values: kind(**values)

    def made(values: dict[str, Any]) -> Any:
        if len(values) < count:
            return kind(**values)
        value: Any = object.__new__(kind)
        object.__setattr__(value, "__dict__", values)
        return value

    return made
