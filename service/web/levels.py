"""How full a shelf is against the number at which to order: a bar drawn by the server as SVG."""

from markupsafe import Markup, escape

from service.engine.supply_views import ShelfView
from service.languages import phrase as _

ROOM = 1.15
"""How much longer than the longest thing on it the bar is, so that its end is seen."""

EDGE = 30
"""Percent from either end within which words beside a mark turn inwards."""


def level(shelf: ShelfView) -> Markup:
    """The bar: what is there, what is coming (hollow), and a line where to order, with the same said in words."""
    whole = max(shelf.told.left + shelf.coming, shelf.point, 1) * ROOM
    here, coming, point = (100 * n / whole for n in (shelf.told.left, shelf.coming, shelf.point))
    said = _(
        "%(left)s on the shelf, %(coming)s on order; to be ordered at %(point)s or fewer",
        left=shelf.told.left, coming=shelf.coming, point=shelf.point,
    )  # fmt: skip
    anchor = "start" if point < EDGE else "end" if point > 100 - EDGE else "middle"
    tone = "level low" if shelf.is_low else "level"
    drawn = (
        f'<svg class="{tone}" width="100%" height="48" role="img" aria-label="{escape(said)}">'
        '<rect class="ground" y="6" width="100%" height="18"/>'
        f'<rect class="stock" y="6" width="{here:.2f}%" height="18"/>'
        f'<rect class="coming" x="{here:.2f}%" y="7" width="{coming:.2f}%" height="16"/>'
        f'<line class="point" x1="{point:.2f}%" x2="{point:.2f}%" y1="0" y2="30"/>'
        f'<text x="{point:.2f}%" y="44" text-anchor="{anchor}">{escape(_("order at %(n)s", n=shelf.point))}</text>'
        "</svg>"
    )
    return Markup(drawn)  # noqa: S704 - numbers, and words escaped above
