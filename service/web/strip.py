"""The day strip: a school's day from first to last bell, drawn by the server as SVG.

Places along the day are percentages, so that one drawing fits every width; sizes across it are pixels. The
same marks serve the lying strip of a wide screen and the upright one of a phone.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

from service.core.district import Severity
from service.engine.chase_views import Mark
from service.engine.views import Band, BoardRow, SchoolView
from service.web import sentences

LANE = 40
"""Pixels across one row."""

HEAD = 22
"""Pixels for the names of the periods above a lying strip."""

GUTTER = 108
"""Pixels for the names of the periods beside an upright strip."""

LENGTH = 330
"""Pixels along an upright strip."""

FIELD = 176
"""Pixels across all columns of an upright strip: what a phone of 320 pixels has beside the names."""

SHAPES = {
    "asked": "M0 -9V9",
    "planned": "M0 -4V4",
    "reminded": "M0 -5V5",
    "told": "M-3 0L0 -3L3 0L0 3Z",
    "working": "M0 -9V9",
    "fixed": "M0 -9V9H6",
    "fault": "M-6 -9H6L0 7Z",
    "urgent": "M-11 -9H-1L-6 6ZM1 -9H11L6 6Z",
    "away": "M0 -8V-6M0 -3V-1M0 2V4M0 7V9",
    "unsaid": "M-4 -4L4 4M-4 4L4 -4",
}

LETTER = 0.017
"""How much of the day one letter beside a row covers on the narrowest lying strip, about."""

LAST_TO_THE_RIGHT = 0.72
"""A row whose last tick stands further on has its words before it."""

AHEAD = "M-2 -7H2V7H-2Z"
"""A hollow tick: a step that has not been taken."""

FULL_NAME = 0.0125
"""How much of the day one letter of a period's name covers on the narrowest lying strip, about."""


@dataclass(frozen=True)
class Axis:
    """Where things stand: along the day in percent, across it in pixels."""

    upright: bool
    across: float

    def point(self, where: float, name: str = "", off: float = 0) -> str:
        """The two coordinates of a point as attributes `x` and `y`, or `x1` and `y1`."""
        along, beside = f"{where * 100:.2f}%", f"{self.across + off:g}"
        x, y = (beside, along) if self.upright else (along, beside)
        return f'x{name}="{x}" y{name}="{y}"'

    def line(self, css: str, begins: float, ends: float, off: float = 0) -> str:
        """A line along the day."""
        return f'<line class="{css}" {self.point(begins, "1", off)} {self.point(ends, "2", off)}/>'

    def bar(self, css: str, where: float, low: float, high: float) -> str:
        """A line across the day."""
        return f'<line class="{css}" {self.point(where, "1", low)} {self.point(where, "2", high)}/>'

    def shape(self, css: str, path: str, where: float) -> str:
        """A small drawing at a place."""
        turned = ' transform="rotate(90)"' if self.upright and path != SHAPES["fault"] else ""
        return f'<svg {self.point(where)} overflow="visible"><path class="{css}" d="{path}"{turned}/></svg>'


def header(school: SchoolView) -> Markup:
    """The names of the periods above a school's rows."""
    axis = Axis(False, 0)
    drawn = [*_bands(axis, school.bands, HEAD), *(_name(b) for b in school.bands)]
    return _svg("strip bells-of", HEAD, drawn, sentences.school_words(school))


def row(school: SchoolView, shown: BoardRow) -> Markup:
    """One row of a school on a lying strip."""
    axis = Axis(False, LANE / 2)
    drawn = [*_bands(Axis(False, 0), school.bands, LANE), *_now(school, 0, LANE), *_row(axis, shown)]
    drawn += _next_label(shown)
    return _svg("strip", LANE, drawn, sentences.strip_words(school, shown))


def upright(school: SchoolView, rows: Sequence[BoardRow]) -> Markup:
    """A school's day standing, one column for each row, the periods' names beside it."""
    lane = min(48.0, FIELD / len(rows)) if rows else FIELD
    drawn = [*_bands(Axis(True, GUTTER), school.bands, FIELD)]
    drawn += [_name_beside(b) for b in _spaced(school.bands)]
    if school.now is not None:
        drawn.append(Axis(True, GUTTER).bar("now", school.now, -4, FIELD))
    for n, shown in enumerate(rows):
        drawn += _row(Axis(True, GUTTER + lane * (n + 0.5)), shown)
    if rows:
        drawn += _next_beside(rows[0], GUTTER + lane * len(rows))
    words = " ".join(sentences.strip_words(school, r) for r in rows)
    return _svg("upright", LENGTH, drawn, f"{sentences.school_words(school)} {words}")


def _svg(css: str, height: float, drawn: Iterable[str], words: str) -> Markup:
    # Every piece is made here from numbers and our own class names; words are escaped.
    body = "".join(drawn)
    text = escape(words)
    return Markup(  # noqa: S704
        f'<svg class="{css}" width="100%" height="{height:g}" role="img" aria-label="{text}">{body}</svg>'
    )


def _bands(axis: Axis, bands: Sequence[Band], across: float) -> Iterable[str]:
    for band in bands:
        length = f"{max(0.0, band.right - band.left) * 100:.2f}%"
        if band.right <= band.left:
            yield axis.bar("bell", band.left, 0, across)
        elif axis.upright:
            yield f'<rect class="band" {axis.point(band.left)} width="{across:g}" height="{length}"/>'
        else:
            yield f'<rect class="band" {axis.point(band.left)} width="{length}" height="{across:g}"/>'


def _name(band: Band) -> str:
    """A period's name in its band: whole, or only its number where there is little room."""
    room = band.right - band.left
    last = band.name.rsplit(" ", 1)[-1]
    shown = band.name if len(band.name) * FULL_NAME <= room else last if last.isdigit() else ""
    if not shown:
        return ""
    middle = (band.left + band.right) / 2
    return f'<text class="name" x="{middle * 100:.2f}%" y="15" text-anchor="middle">{escape(shown)}</text>'


def _spaced(bands: Sequence[Band]) -> Iterable[Band]:
    """The bands whose names have room beside an upright strip."""
    last = -1.0
    for band in bands:
        if band.left - last >= 17 / LENGTH:
            last = band.left
            yield band


def _name_beside(band: Band) -> str:
    y = f"{min(band.left, 0.99) * 100:.2f}%"
    return f'<text class="name" x="0" y="{y}" dy="11">{escape(band.start)} {escape(band.name[:10])}</text>'


def _now(school: SchoolView, low: float, high: float) -> Iterable[str]:
    if school.now is not None:
        yield Axis(False, 0).bar("now", school.now, low, high)


def _row(axis: Axis, shown: BoardRow) -> Iterable[str]:
    chase = shown.chase
    yield axis.line("hair", 0, 1)
    if shown.ends is None and shown.tone != "planned":
        yield axis.line(f"wait {shown.tone}", shown.begins, max(shown.begins, shown.now))
    elif shown.ends is not None and shown.ends > shown.begins:
        yield axis.line("wait settled", shown.begins, shown.ends)
    if chase and chase.hand and chase.hand.said:
        yield from _bracket(axis, chase.hand.begins, chase.hand.ends)
    for mark in shown.marks:
        yield axis.shape(f"mark {mark.kind}", SHAPES[_shape(mark, shown)], mark.where)
    for ahead in chase.ahead if chase else ():
        yield axis.shape("ahead", AHEAD, ahead.where)


def _shape(mark: Mark, shown: BoardRow) -> str:
    grave = shown.chase.severity if shown.chase else None
    urgent = mark.kind == "fault" and grave in (Severity.URGENT, Severity.EMERGENCY)
    return "urgent" if urgent else mark.kind


def _bracket(axis: Axis, begins: float, ends: float) -> Iterable[str]:
    yield axis.line("held", begins, ends, -12)
    yield axis.bar("held", begins, -12, -6)
    yield axis.bar("held", ends, -12, -6)


def _next_beside(shown: BoardRow, beside: float) -> Iterable[str]:
    """Whom the gravest row's chain tells next, where the columns leave room for it."""
    chase = shown.chase
    if chase is None or chase.next is None or beside > GUTTER + FIELD / 2:
        return
    role, y = sentences.bare(chase.next.role), f"{chase.ahead[-1].where * 100:.2f}%"
    dy = -4 if chase.next.where > 0.9 else 10
    yield f'<text class="who" x="{beside:g}" y="{y}" dy="{dy}">{escape(role)}</text>'
    yield f'<text class="who" x="{beside:g}" y="{y}" dy="{dy + 17}">{escape(chase.next.at)}</text>'


def _next_label(shown: BoardRow) -> Iterable[str]:
    """Whom the chain tells next, and then, written beside the last hollow tick on the side that has room."""
    chase = shown.chase
    if chase is None or not chase.ahead:
        return
    named = [f"{sentences.bare(a.role)} {a.at}" for a in chase.ahead]
    last = chase.ahead[-1].where
    if last < LAST_TO_THE_RIGHT:
        place, room = f'x="{last * 100:.2f}%" dx="12"', 1 - last
    else:
        place, room = f'x="{shown.begins * 100:.2f}%" dx="-14" text-anchor="end"', shown.begins
    fitting = [n for n in range(1, len(named) + 1) if len(", ".join(named[:n])) * LETTER <= room]
    words = ", ".join(named[: max(fitting, default=1)])
    yield f'<text class="who" {place} y="25">{escape(words)}</text>'
