"""Cases for the reader, one a line in JSON: what was asked, what was typed, what it should be read as."""

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from service.core.district import Device, DeviceKind, Side
from service.core.reading import Asked, AskedStudent, Audience
from service.verbs.speaking import CannotRun

RIGHT = (
    'write {"id": "r1", "audience": "checker", "students": [{"number": 1, "alias": "Wren", "devices": '
    '[{"kind": "hearing-aid", "side": "left"}]}], "text": "ok"}'
)


@dataclass(frozen=True)
class Case:
    """One reply with what was asked; `expect` is what it should be read as, where the line says so. `doubtful`:
    careful people differ on it. `place` is the file and line.
    """

    id: str
    text: str
    asked: Asked
    expect: Mapping[str, Any] | None
    doubtful: bool
    category: str
    place: str


def cases(paths: Iterable[Path]) -> Iterator[Case]:
    """The cases of the files, one a line. Raises `CannotRun` where a line is no case."""
    for path in paths:
        yield from _of(path)


def _of(path: Path) -> Iterator[Case]:
    try:
        with path.open(encoding="utf-8-sig") as lines:
            for number, line in enumerate(lines, start=1):
                if line.strip():
                    yield _case(line, f"{path}:{number}")
    except UnicodeDecodeError as error:
        raise CannotRun(
            f"{path}:1: is not UTF-8 text (byte {error.start}); save it with that encoding"
        ) from None
    except OSError as error:
        raise CannotRun(f"{path}:1: cannot be read ({error.strerror}); give the path of the cases") from None


def _case(line: str, place: str) -> Case:
    try:
        given = json.loads(line)
        students = tuple(
            AskedStudent(
                int(s["number"]),
                str(s["alias"]),
                tuple(
                    Device(DeviceKind(d["kind"]), Side(d["side"]) if d.get("side") else None)
                    for d in s["devices"]
                ),
                tuple(s.get("nicknames", ())),
            )
            for s in given["students"]
        )
        asked = Asked(Audience(given["audience"]), students, str(given.get("language", "en")))
        return Case(
            str(given["id"]),
            str(given["text"]),
            asked,
            given.get("expect"),
            bool(given.get("doubtful")),
            str(given.get("category", "-")),
            place,
        )
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        wrong = f"has no {error}" if isinstance(error, KeyError) else "is no case"
        raise CannotRun(f"{place}: {wrong}; {RIGHT}") from None
