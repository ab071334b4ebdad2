"""Time zones by name, always from the `tzdata` package that is installed with the service.

A machine's own zone files can be years old: a school in a province that has stopped changing its clocks
would be asked an hour off. Importing this module makes `zoneinfo` pass the machine's files over, for the
whole process.
"""

from functools import cache
from importlib.resources import files
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, reset_tzpath

reset_tzpath(to=())
ZoneInfo.clear_cache()


class UnknownZoneError(ValueError):
    """The zone data knows no zone of that name."""


@cache
def zone(name: str) -> ZoneInfo:
    """The IANA zone called `name`, such as `America/New_York`.

    Raises `UnknownZoneError` where the zone data has no such name.
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise UnknownZoneError(f"no time zone is called {name!r}") from error


@cache
def version() -> str:
    """The edition of the zone data in use, such as `2026f`, as its own first line states it."""
    with files("tzdata").joinpath("zoneinfo", "tzdata.zi").open(encoding="ascii") as lines:
        return lines.readline().removeprefix("# version").strip()
