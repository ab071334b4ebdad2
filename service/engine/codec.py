"""Frozen dataclasses of the core to JSON values and back, by their own type hints. No second schema."""

import types
import typing
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date, datetime, time, timedelta
from enum import Enum
from functools import cache
from typing import Any, TypeVar

T = TypeVar("T")


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
    return typing.cast("T", _decode(kind, data))


@cache
def _hints(kind: type) -> dict[str, Any]:
    return typing.get_type_hints(kind)


def _decode(kind: Any, data: Any) -> Any:
    if data is None:
        return None
    origin = typing.get_origin(kind)
    if origin in (typing.Union, types.UnionType):
        (inner,) = (a for a in typing.get_args(kind) if a is not type(None))
        return _decode(inner, data)
    if origin is tuple:
        return _decode_tuple(typing.get_args(kind), data)
    if origin is frozenset:
        return frozenset(_decode(typing.get_args(kind)[0], v) for v in data)
    if origin is not None and issubclass(origin, Mapping):
        key_kind, value_kind = typing.get_args(kind)
        return {_decode(key_kind, k): _decode(value_kind, v) for k, v in data.items()}
    return _decode_plain(kind, data)


def _decode_tuple(args: tuple[Any, ...], data: Any) -> tuple[Any, ...]:
    if len(args) == 2 and args[1] is Ellipsis:
        return tuple(_decode(args[0], v) for v in data)
    return tuple(_decode(a, v) for a, v in zip(args, data, strict=True))


def _decode_plain(kind: Any, data: Any) -> Any:
    if is_dataclass(kind):
        hints = _hints(typing.cast("type", kind))
        return kind(**{name: _decode(hints[name], v) for name, v in data.items() if name in hints})  # type: ignore[operator]
    if kind is int:
        return int(data)
    if kind is timedelta:
        return timedelta(seconds=data)
    if kind in (datetime, date, time):
        return kind.fromisoformat(data)
    if isinstance(kind, type) and issubclass(kind, Enum):
        return kind(data)
    return data
