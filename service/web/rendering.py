"""Pages from templates: everything escaped, nothing undefined."""

import re
from functools import cache
from importlib.resources import files

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from service.core.forms import Made
from service.languages import gettext, spoken, spoken_in
from service.web import sentences, strip
from service.web.drawings import drawing
from service.web.levels import level

TITLE = re.compile("<title>[^<]*</title>")
"""Titles of parts are left out where a drawing is only a pattern: each link that shows a part names it."""


@cache
def environment() -> Environment:
    """The templates, with the words and drawings they use."""
    made = Environment(
        loader=PackageLoader("service.web", "pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    spoken_in(made)
    made.filters["spoken"] = gettext
    made.globals.update(say=sentences, strip=strip, drawing=_drawing, level=level, spoken=spoken)
    return made


def render(name: str, **values: object) -> str:
    """The page of that name. Lines that hold only spaces are left out, to keep it small."""
    text = environment().get_template(name).render(**values)
    return "\n".join(line.strip() for line in text.splitlines() if line.strip())


def _drawing(key: str, shape: Made) -> Markup:
    """The drawing of a kind and form once for a page, under its name there, to be shown again by `use`."""
    return _drawn(key, shape, spoken())


@cache
def _drawn(key: str, shape: Made, _language: str) -> Markup:
    # The drawings are files of ours with our own words, escaped where they are filled in.
    bare = TITLE.sub("", drawing(shape.kind, f"{key}-", shape.form)).replace(' role="img"', "")
    return Markup(bare.replace("<svg ", f'<svg id="{key}" ', 1))  # noqa: S704


@cache
def static(name: str) -> bytes:
    """A style sheet or script of ours. Raises FileNotFoundError."""
    return files("service.web.static").joinpath(name).read_bytes()
