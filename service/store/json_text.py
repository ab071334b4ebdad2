"""JSON that is spelled already, and how everything else is."""

import json
from typing import Any


class JsonText(str):
    """A JSON value as text, stored as it is. Only what was spelled by an encoder may be called so."""

    __slots__ = ()


def to_json(value: Any) -> str:
    """How a value is spelled for a column of JSON."""
    return value if type(value) is JsonText else json.dumps(value)
