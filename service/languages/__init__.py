"""The language that is spoken just now, and the catalogue that its words come from.

English stands in code and templates and is the key (gettext's msgid). Every other language is one file beside this
module (`es.po`), read by Babel the first time somebody needs it: no compiled file that could be stale, and a service
that speaks English alone loads nothing. A language is offered where its file is here; a test holds every file complete.
"""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date
from functools import cache
from gettext import NullTranslations
from importlib.resources import files
from io import BytesIO

from jinja2 import Environment

FALLBACK = "en"

ROOT = files("service.languages")

_spoken: ContextVar[str] = ContextVar("spoken", default=FALLBACK)


def spoken() -> str:
    """The language spoken just now: "en" where nobody said otherwise."""
    return _spoken.get()


@contextmanager
def speaking(language: str) -> Iterator[None]:
    """Speak `language` ("es", "es-MX") for a while; one that is not offered speaks English."""
    before = _spoken.set(language_for(language))
    try:
        yield
    finally:
        _spoken.reset(before)


@cache
def offered() -> frozenset[str]:
    """The languages that there are: English, and each with a catalogue."""
    found = (file.name for file in ROOT.iterdir())
    return frozenset({FALLBACK, *(name.removesuffix(".po") for name in found if name.endswith(".po"))})


def language_for(language: str) -> str:
    """The language of ours that serves `language` ("es-MX" reads "es"); English where there is none."""
    short = language.partition("-")[0].strip().lower()
    return short if short in offered() else FALLBACK


def accepted(header: str) -> str:
    """The language of ours that an `Accept-Language` header (RFC 9110, 12.5.4) likes best; English if none."""
    best, most = FALLBACK, 0.0
    for part in header.split(","):
        name, _, weight = part.replace(" ", "").partition(";q=")
        short, liked = name.partition("-")[0].lower(), _weight(weight)
        if short in offered() and liked > most:
            best, most = short, liked
    return best


def _weight(text: str) -> float:
    try:
        return float(text or "1")
    except ValueError:
        return 0.0


@cache
def catalogue(language: str) -> NullTranslations:
    """The words of a language that is offered. Raises ValueError for a file that is no catalogue."""
    if language == FALLBACK:
        return NullTranslations()
    # Only who speaks another language waits for Babel.
    from babel.messages.mofile import write_mo  # noqa: PLC0415
    from babel.messages.pofile import read_po  # noqa: PLC0415
    from babel.support import Translations  # noqa: PLC0415

    compiled = BytesIO()
    with ROOT.joinpath(f"{language}.po").open("rb") as file:
        write_mo(compiled, read_po(file, locale=language, abort_invalid=True))
    compiled.seek(0)
    return Translations(compiled)


def gettext(text: str) -> str:
    """`text` in the language spoken; as it stands where the catalogue does not know it (a district's own words)."""
    language = _spoken.get()
    return text if language == FALLBACK or not text else catalogue(language).gettext(text)


def ngettext(one: str, more: str, n: int) -> str:
    """The form of a text for `n` things, by the rules of the language spoken."""
    return catalogue(_spoken.get()).ngettext(one, more, n)


def spoken_in(environment: Environment) -> None:
    """Let the templates of an environment say `_("...")` in the language spoken."""
    environment.add_extension("jinja2.ext.i18n")
    install = environment.install_gettext_callables  # type: ignore[attr-defined]
    install(gettext, ngettext, newstyle=True)


def phrase(text: str, /, **values: object) -> str:
    """`text` in the language spoken, with its values in place."""
    return gettext(text) % values if values else gettext(text)


def counted(one: str, more: str, n: int) -> str:
    """`n` things with their word ("%(num)s check", "%(num)s checks"), by the rules of the language spoken."""
    return ngettext(one, more, n) % {"num": n}


def each(lines: Iterable[str]) -> tuple[str, ...]:
    """Several texts in the language spoken."""
    return tuple(map(gettext, lines))


def N_(text: str) -> str:  # noqa: N802 - gettext's own name for it
    """Marks a text that is put into words later, where it is known who reads."""
    return text


def dated(on: date, pattern: str) -> str:
    """A date by a pattern of CLDR ("EEEE d MMMM"), in the language spoken and the order it has for it."""
    from babel.dates import format_date  # noqa: PLC0415 - only pages and days other than today need it

    return format_date(on, gettext(pattern), locale=spoken())
