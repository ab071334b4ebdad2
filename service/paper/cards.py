"""Cards to print: A5, one page for each student, in the largest letters that fit."""

import re
from bisect import bisect_left
from collections.abc import Callable, Mapping, Sequence

from service.core import forms
from service.paper.pen import A5, QUIET, DoesNotFitError, Made, Pen
from service.wording.cards import Card, Section

SIZES = tuple(9.5 - n / 4 for n in range(13))
"""Sizes of the letters that are tried, in points; below 6.5 they are not read at arm's length (local choice)."""

PICTURES = (38.0, 32.0, 26.0, 21.0)
"""Heights of the drawings that are tried with each size, in mm: letters matter more."""

MARGIN = 8.0

SHAPE = 240 / 360
"""Height by width of a drawing (their `viewBox`)."""

LABELLED = 50.0
"""Drawings of so many mm in width have room for the names of their parts."""

NAMED = re.compile(r'<path [^>]*stroke-width="1"/>|<text.*?</text>')
"""The names of parts in a drawing, and the thin lines that lead to them."""

Drawings = Mapping[forms.Made, str]


def cards(made: Sequence[Card], drawings: Drawings, title: str, language: str) -> Made:
    """One PDF with a page for each card. Raises `DoesNotFitError` naming the card that says too much."""
    pen = Pen(A5, MARGIN, title, language)
    for card in made:
        pen.new_page()
        _card(pen, card, drawings, *_sizes(pen, card, drawings))
    return pen.made()


def _sizes(pen: Pen, card: Card, drawings: Drawings) -> tuple[float, float]:
    """The largest letters that fit with the smallest drawings, and then the largest drawings."""
    size = _first(SIZES, lambda size: _fits(pen, card, drawings, size, PICTURES[-1]))
    if size is None:
        raise DoesNotFitError(card.title)
    return size, _first(PICTURES, lambda high: _fits(pen, card, drawings, size, high)) or PICTURES[-1]


def _first(sizes: Sequence[float], fits: Callable[[float], bool]) -> float | None:
    """The first of falling sizes that fits."""
    place = bisect_left(sizes, True, key=fits)
    return sizes[place] if place < len(sizes) else None


def _fits(pen: Pen, card: Card, drawings: Drawings, size: float, high: float) -> bool:
    with pen.measured():
        _card(pen, card, drawings, size, high)
    left, pen.y = pen.left, pen.margin
    return left >= 0


def _card(pen: Pen, card: Card, drawings: Drawings, size: float, high: float) -> None:
    pen.text(card.title, size * 2, bold=True)
    pen.text(card.place, size, colour=QUIET)
    pen.gap(1)
    pen.rule(thick=0.4)
    pen.gap(1.5)
    if card.pictures:
        _pictures(pen, card, drawings, size, high)
    for section in card.sections:
        _section(pen, section, size)
    _alarm(pen, card.emergency, size)
    pen.gap(1.5)
    pen.text(card.foot, max(size - 1.5, SIZES[-1] - 0.5), colour=QUIET)


def _pictures(pen: Pen, card: Card, drawings: Drawings, size: float, high: float) -> None:
    count = len(card.pictures)
    gap = 4.0
    width = min((pen.inner - gap * (count - 1)) / count, high / SHAPE)
    top = pen.y
    below = top
    for place, picture in enumerate(card.pictures):
        x = pen.margin + place * (width + gap)
        svg = drawings[picture.shape]
        pen.drawing(svg if width >= LABELLED else NAMED.sub("", svg), x, top, width, width * SHAPE)
        pen.y = top + width * SHAPE
        pen.text(picture.caption, size, x=x, width=width, bold=True)
        below = max(below, pen.y)
    pen.y = below
    pen.gap(2)


def _section(pen: Pen, section: Section, size: float) -> None:
    pen.text(section.heading, size * 1.1, bold=True)
    pen.gap(0.3)
    for number, line in enumerate(section.lines, 1):
        if section.numbered:
            top = pen.y
            pen.text(f"{number}", size, width=4, bold=True)
            pen.y = top
        indent = 4.0 if section.numbered else 0.0
        lead = f"{line.lead}." if line.lead else ""
        pen.text(line.text, size, lead=lead, x=pen.margin + indent, width=pen.inner - indent)
    pen.gap(size * 0.18)


def _alarm(pen: Pen, section: Section, size: float) -> None:
    """The emergency in a frame of its own, its first words largest."""
    pad = 2.0
    top = pen.y
    pen.gap(pad)
    x, width = pen.margin + pad, pen.inner - 2 * pad
    pen.text(section.heading, size, bold=True, x=x, width=width)
    for line in section.lines:
        pen.text(line.lead, size * 1.5, bold=True, x=x, width=width)
        pen.text(line.text, size, x=x, width=width)
    pen.gap(pad)
    pen.box(pen.margin, top, pen.inner, pen.y - top)
