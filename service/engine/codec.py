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
Decoder = Callable[[Any], Any]


def encode(value: Any) -> Any:
    """A JSON value for a dataclass, enum, instant, date, time, duration (seconds), mapping or sequence."""
    if value is None or isinstance(value, bool | int | float):
        return value
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, str):
        return value
    if isinstance(value, timedelta):
        return value.total_seconds()
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if is_dataclass(value):
        return {f.name: encode(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Mapping):
        return {str(k): encode(v) for k, v in value.items()}
    values = [encode(v) for v in value]
    return sorted(values) if isinstance(value, frozenset) else values


def decode(kind: type[T], data: Any) -> T:
    """The value of type `kind` that `encode` wrote as `data`."""
    return typing.cast("T", _decoder(typing.cast("Any", kind))(data))


def _same(data: Any) -> Any:
    return data


@cache
def _decoder(kind: Any) -> Decoder:
    """How a kind is read, worked out once: a chase is read a few hundred times a second at a bell."""
    made = _made(kind)
    if made is _same:
        return _same
    return lambda data: None if data is None else made(data)


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

    def decoded(data: Mapping[str, Any]) -> Any:
        return kind(**{name: table[name](value) for name, value in data.items() if name in table})

    return decoded
