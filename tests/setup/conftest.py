"""A small whole district as one file, which each test spoils in one place."""

from collections.abc import Callable
from pathlib import Path

import pytest

from service.setup import Loaded, load

GOOD = """\
district:
  name: Larkfield
  emergency: {number: "911", text: "Text 911"}
  chains: {silence: silence, same day: fault, urgent: fault, emergency: fault}
channels:
  mail: {kind: email, host: mail.larkfield.example, from: checks@larkfield.example}
people:
  l-teal:
    name: L. Teal
    roles: [{checker: hollow-road}]
    channels: [{mail: l.teal@larkfield.example}]
  r-moss:
    name: R. Moss
    roles: [{second checker: hollow-road}, {front office: hollow-road}]
    channels: [{mail: r.moss@larkfield.example}]
  c-reed:
    name: C. Reed
    roles: [coordinator]
    channels: [{mail: c.reed@larkfield.example}]
  g-pike:
    name: Guardian of Wren
    roles: [guardian]
    channels: [{mail: g.pike@home.example}]
    consent: 2026-08-20
schools:
  hollow-road:
    name: Hollow Road School
    zone: America/Chicago
    terms:
      - Autumn: 2026-08-24 to 2026-12-18
      - Spring: 2027-01-05 to 2027-05-28
    closures:
      - Break: 2026-11-26 to 2026-11-27
    day types:
      regular:
        bells:
          - First bell: 08:00
          - Period 1: 08:15 - 09:00
          - Period 2: 09:05 - 09:50
          - Last bell: 15:00
      late start:
        bells:
          - First bell: 10:00
          - Period 1: 10:15 - 10:45
          - Last bell: 15:00
    week:
      mon-fri: regular
chains:
  silence:
    steps:
      - {tell: checker, limit: 10 min}
      - {tell: second, limit: 5 min}
      - {tell: coordinator}
  fault:
    steps:
      - {tell: c-reed, limit: 20 min}
      - {tell: guardian}
students:
  s-110:
    alias: Wren
    school: hollow-road
    room: "12"
    devices: [left cochlear-implant, right hearing-aid, remote-mic]
    routines:
      morning:
        when: {before: Period 1, by: 10 min}
        checker: l-teal
        second: r-moss
    guardians: [g-pike]
"""

Spoil = Callable[..., Loaded]


@pytest.fixture(scope="module")
def good() -> str:
    """The text of a district without problems."""
    return GOOD


@pytest.fixture
def spoiled(tmp_path: Path) -> Spoil:
    """Loads the good district with some of its text replaced; each pair is (what stands there, what is put)."""

    def spoil(*changes: tuple[str, str], environ: dict[str, str] | None = None) -> Loaded:
        text = GOOD
        for old, new in changes:
            assert text.count(old) >= 1, f"{old!r} is not in the good district"
            text = text.replace(old, new, 1)
        folder = tmp_path / "folder"
        folder.mkdir(exist_ok=True)
        (folder / "all.yaml").write_text(text, encoding="utf-8")
        return load(folder, environ or {})

    return spoil


@pytest.fixture
def write(tmp_path: Path) -> Callable[..., Path]:
    """Writes a folder of files, given as name=text or name=bytes with / for folders."""

    def make(files: dict[str, str | bytes]) -> Path:
        folder = tmp_path / "made"
        for name, text in files.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
        return folder

    return make
