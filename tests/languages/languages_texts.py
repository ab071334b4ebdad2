"""All texts that a catalogue has to hold: those of templates, of code, and of the lists of devices and faults.

`python -m tests.languages es` brings a catalogue's keys up to date; what is new stands there empty.
"""

from collections.abc import Iterator
from pathlib import Path
from tomllib import loads

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_python
from jinja2.ext import babel_extract

from service.core.devices import catalogue
from service.core.reading import NotDone
from service.core.sounds import SIX

SERVICE = Path(__file__).parents[2] / "service"
TEMPLATES = tuple(
    path
    for where in ("wording/en/*.txt", "wording/pages/*.html", "web/pages/*.html")
    for path in sorted(SERVICE.glob(where))
)
CODE = tuple(
    sorted(path for room in ("wording", "web", "engine") for path in SERVICE.joinpath(room).rglob("*.py"))
)

KEYWORDS = {
    "_": None,
    "gettext": None,
    "phrase": None,
    "N_": None,
    "ngettext": (1, 2),
    "counted": (1, 2),
    "dated": (2,),
}
DAYS = ("Mondays", "Tuesdays", "Wednesdays", "Thursdays", "Fridays", "Saturdays", "Sundays")
CUT = ("it ends before the first bell", "the delay lasts until the last bell")
SHUT = ("outside the terms", "closure", "closed by notice", *CUT, *(f"no school on {day}" for day in DAYS))
WHY_NO_SCHOOL = ("weekend", "closed", "no check", *SHUT)
"""Reasons that the core gives by itself; others are a district's own words."""

Key = str | tuple[str, str]


def texts() -> Catalog:
    """Every text, with the places where it stands."""
    found = Catalog(project="bellcheck", charset="utf-8", fuzzy=False)
    for where, text in (*_of_templates(), *_of_code(), *_of_lists()):
        found.add(text, locations=[(where, 0)], flags=["python-format"] if "%(" in str(text) else [])
    return found


def _of_templates() -> Iterator[tuple[str, Key]]:
    for path in TEMPLATES:
        with path.open("rb") as file:
            options = {"encoding": "utf-8", "silent": "false", "newstyle_gettext": "true"}
            for _, name, text, _comments in babel_extract(file, list(KEYWORDS), [], options):
                yield from _kept(path, name, text)


def _of_code() -> Iterator[tuple[str, Key]]:
    for path in CODE:
        with path.open("rb") as file:
            for _, name, text, _comments in extract_python(file, list(KEYWORDS), [], {}):
                yield from _kept(path, name, text)


def _kept(path: Path, name: str | None, text: object) -> Iterator[tuple[str, Key]]:
    where = str(path.relative_to(SERVICE.parent))
    held = tuple(part for part in text if isinstance(part, str)) if isinstance(text, tuple) else (text,)
    if KEYWORDS.get(name or "") == (1, 2):
        yield where, (str(held[0]), str(held[1]))
    elif held and held[0]:
        yield where, str(held[0])


def _of_lists() -> Iterator[tuple[str, Key]]:
    for code in catalogue().values():
        for text in (code.code.lower(), code.label, *code.seen, *code.remedy, *code.never, *code.cautions):
            yield "service/core/devices_data/faults.toml", text
    path = SERVICE / "core/devices_data/steps.toml"
    steps = loads(path.read_text("utf-8"))
    said = [
        line
        for step in steps["step"]
        for line in (
            step["title"],
            step.get("without_tool"),
            *(one["text"] for one in (*step["say"], *step.get("tool", []), *step.get("by_eye", []))),
        )
    ]
    for text in (*said, *steps["parts"].values()):
        if text:
            yield "service/core/devices_data/steps.toml", text
    for sound in SIX:
        yield "service/core/sounds.py", sound
    for reason in (*(one.value for one in NotDone), *WHY_NO_SCHOOL):
        yield "service/core/reading.py", reason
