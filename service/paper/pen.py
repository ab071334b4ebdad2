"""A pen over a sheet of paper: text that wraps, rules, boxes and drawings, in millimetres and points.

The PDF is written by fpdf2. It bears its language and title, and real text in reading order; it has no tags for
screen readers, for which the page in HTML is made of the same facts.
"""

import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.resources import as_file, files
from io import BytesIO
from itertools import chain, groupby
from typing import NamedTuple

from fpdf import FPDF
from fpdf.fonts import TTFFont

INK = (31, 37, 48)
INK_HEX = "#1f2530"
QUIET = (85, 92, 104)
RULE = (141, 134, 119)

A5 = (148.0, 210.0)
A4 = (210.0, 297.0)
"""Width and height in mm (ISO 216)."""

POINT = 25.4 / 72
"""One point in mm."""

LEADING = 1.32
"""The height of a line, in sizes of its letters."""

ASCENT = 0.82
"""How far below the top of its letters a line stands, in their size."""

FACES = {"": "OpenSans-Regular.ttf", "B": "OpenSans-Bold.ttf"}


class DoesNotFitError(ValueError):
    """What is to be printed does not fit on its page, even in the smallest letters that can be read."""


@dataclass(frozen=True)
class Made:
    """A PDF, and the signs that its letters cannot show: they are printed by name."""

    pdf: bytes
    unshown: tuple[str, ...]


class Piece(NamedTuple):
    """A word of a paragraph."""

    word: str
    bold: bool


class Pen:
    """Writes from the top of a page downwards. While it is `measuring`, nothing is drawn and `y` moves all the same."""

    def __init__(self, page: tuple[float, float], margin: float, title: str, language: str) -> None:
        self.pdf = FPDF(unit="mm", format=page)
        self.width, self.height = page
        self.margin = margin
        self.y = margin
        self.measuring = False
        self.unshown: dict[str, None] = {}
        self._widths: dict[tuple[str, bool], float] = {}
        self.pdf.set_auto_page_break(False)
        self.pdf.set_lang(language)
        for style, file in FACES.items():
            with as_file(files("service.paper").joinpath("fonts", file)) as path:
                self.pdf.add_font("body", style, path)
        self._known = frozenset.intersection(*(frozenset(face.cmap) for face in self._faces()))
        self.pdf.set_title(self.shown(title))

    def _faces(self) -> Iterable[TTFFont]:
        return (face for face in self.pdf.fonts.values() if isinstance(face, TTFFont))

    @property
    def inner(self) -> float:
        """The width between the margins."""
        return self.width - 2 * self.margin

    @property
    def left(self) -> float:
        """How much room is left on the page."""
        return self.height - self.margin - self.y

    def new_page(self) -> None:
        """Begin a page."""
        self.pdf.add_page()
        self.y = self.margin

    @contextmanager
    def measured(self) -> Iterator[None]:
        """Measure what is written meanwhile, drawing nothing; `y` is put back by whoever asked."""
        self.measuring = True
        try:
            yield
        finally:
            self.measuring = False

    def text(
        self,
        words: str,
        size: float,
        *,
        lead: str = "",
        x: float | None = None,
        width: float | None = None,
        bold: bool = False,
        colour: tuple[int, int, int] = INK,
    ) -> None:
        """A paragraph at `y`, which moves below it; `lead` stands before the words in bold."""
        pieces = [*_pieces(self.shown(lead), True), *_pieces(self.shown(words), bold)]
        lines = self._wrapped(pieces, size, self.inner if width is None else width)
        begin = self.margin if x is None else x
        self.pdf.set_text_color(*colour)
        for line in lines:
            if not self.measuring:
                self._set(line, size, begin)
            self.y += size * POINT * LEADING

    def _wrapped(self, pieces: Iterable[Piece], size: float, width: float) -> list[list[Piece]]:
        """Words in lines no wider than `width`; a word that is too long by itself is cut."""
        lines: list[list[Piece]] = [[]]
        used = 0.0
        for piece in chain.from_iterable(self._cut(piece, size, width) for piece in pieces):
            wide = self._wide(*piece, size)
            between = self._wide(" ", piece.bold, size) if lines[-1] else 0.0
            if piece.word == "\n" or used + between + wide > width:
                lines.append([])
                used = between = 0.0
            if piece.word != "\n":
                lines[-1].append(piece)
                used += between + wide
        return lines

    def _cut(self, piece: Piece, size: float, width: float) -> Iterator[Piece]:
        begun = ""
        for sign in piece.word if self._wide(*piece, size) > width else ():
            if begun and self._wide(begun + sign, piece.bold, size) > width:
                yield Piece(begun, piece.bold)
                begun = ""
            begun += sign
        yield Piece(begun or piece.word, piece.bold)

    def _wide(self, word: str, bold: bool, size: float) -> float:
        """How wide a word is, in mm."""
        found = self._widths.get((word, bold))
        if found is None:
            self.pdf.set_font("body", "B" if bold else "", 100)
            found = self._widths[word, bold] = self.pdf.get_string_width(word) / 100
        return found * size

    def _set(self, line: Sequence[Piece], size: float, x: float) -> None:
        base = self.y + size * POINT * (LEADING - 1) / 2 + size * POINT * ASCENT
        for bold, run in groupby(line, key=lambda piece: piece.bold):
            words = " ".join(piece.word for piece in run) + " "
            self.pdf.set_font("body", "B" if bold else "", size)
            self.pdf.text(x, base, words)
            x += self.pdf.get_string_width(words)

    def gap(self, mm: float) -> None:
        """Leave some paper free."""
        self.y += mm

    def rule(self, x: float | None = None, width: float | None = None, thick: float = 0.2) -> None:
        """A thin line across at `y`."""
        if not self.measuring:
            begin = self.margin if x is None else x
            self.pdf.set_draw_color(*RULE)
            self.pdf.set_line_width(thick)
            self.pdf.line(begin, self.y, begin + (self.inner if width is None else width), self.y)

    def box(self, x: float, y: float, width: float, height: float, thick: float = 0.7) -> None:
        """A frame in ink."""
        if not self.measuring:
            self.pdf.set_draw_color(*INK)
            self.pdf.set_line_width(thick)
            self.pdf.rect(x, y, width, height)

    def drawing(self, svg: str, x: float, y: float, width: float, height: float) -> None:
        """A drawing of ours; its lines take the colour of the ink."""
        if not self.measuring:
            self.pdf.image(BytesIO(_inked(svg).encode()), x=x, y=y, w=width, h=height)

    def shown(self, text: str) -> str:
        """The text with every sign that the letters do not have replaced by its name, so that nothing vanishes."""
        return "".join(sign if ord(sign) in self._known or sign == "\n" else self._named(sign) for sign in text)

    def _named(self, sign: str) -> str:
        if unicodedata.category(sign) in ("Mn", "Cf"):
            return ""
        name = unicodedata.name(sign, f"U+{ord(sign):04X}").lower()
        self.unshown[name] = None
        return f"[{name}]"

    def made(self) -> Made:
        """The PDF as it stands."""
        return Made(bytes(self.pdf.output()), tuple(self.unshown))


def _pieces(text: str, bold: bool) -> Iterator[Piece]:
    for place, line in enumerate(text.split("\n")):
        if place:
            yield Piece("\n", bold)
        yield from (Piece(word, bold) for word in line.split())


def _inked(svg: str) -> str:
    """A drawing that stands by itself: the page's ink and letters, and no titles, which paper cannot show."""
    begin, *rest = svg.split("<title>")
    bare = begin + "".join(part.partition("</title>")[2] for part in rest)
    return bare.replace("currentColor", INK_HEX).replace('font-family="inherit"', 'font-family="body"')
