"""One thing that was looked at before serving."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Finding:
    """What was looked at and what was found. `do` says what to do where it is not `good`."""

    what: str
    good: bool
    found: str
    do: str = ""
