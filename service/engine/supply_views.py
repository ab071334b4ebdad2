"""What the page of supplies shows: each school's shelves, how they stand, and by which count."""

from collections.abc import Mapping
from dataclasses import dataclass

from service.core.district import Person
from service.core.supplies.demand import Forecast
from service.core.supplies.expiry import Expiring
from service.core.supplies.items import Batch, Counted
from service.core.supplies.life import Life
from service.engine.desk import Moment
from service.engine.shelves import keepers, line
from service.engine.supplies import Stand, stands
from service.engine.views import actors
from service.languages import dated, phrase
from service.store import supplies
from service.store.tables import SupplyCount
from service.wording.letters import LowShelf


@dataclass(frozen=True)
class ShelfView:
    """A shelf: what is told of it, how many are `coming` and at how many to order, the count it goes by, in words, and
    what the form for the next count begins with. `older` is the count that does not hold; `seen` names the last one
    made on the page.
    """

    id: str
    told: LowShelf
    coming: int
    point: int
    used: int
    by_record: bool
    ahead: Forecast
    life: Life | None
    counted: str
    older: str
    going_bad: tuple[Expiring, ...]
    lots: tuple[Batch, ...]
    seen: str

    @property
    def is_low(self) -> bool:
        """Whether to order."""
        return self.told.order > 0


@dataclass(frozen=True)
class ShelvesOfSchool:
    """A school with shelves, those to order first."""

    name: str
    shelves: tuple[ShelfView, ...]


def supply_page(m: Moment) -> tuple[ShelvesOfSchool, ...]:
    """Every school with shelves, in the order of the configuration."""
    found = stands(m)
    last = supplies.latest(m.tx, [stand.shelf.id for stand in found])
    schools = dict.fromkeys(stand.shelf.counted.place.school for stand in found)
    return tuple(
        ShelvesOfSchool(
            m.school(school).name,
            tuple(sorted((_view(m, s, last) for s in found if s.shelf.counted.place.school == school), key=_order)),
        )
        for school in schools
    )


def _order(view: ShelfView) -> bool:
    return not view.is_low


def counters(m: Moment) -> tuple[Person, ...]:
    """Who may count: those who act on the board, and whoever keeps a shelf."""
    others = {id for shelf in m.district.supplies.values() for id in keepers(m, shelf)}
    acting = actors(m)
    known = {person.id for person in acting}
    return (*acting, *(m.district.people[id] for id in sorted(others - known)))


def _view(m: Moment, stand: Stand, last: Mapping[str, SupplyCount]) -> ShelfView:
    row = last.get(stand.shelf.id)
    return ShelfView(
        stand.shelf.id,
        line(m, stand),
        stand.counted.on_order,
        stand.order.point,
        stand.used,
        stand.by_record,
        stand.ahead,
        stand.lasts,
        _counted(m, stand.counted),
        _counted(m, stand.other) if stand.other else "",
        tuple(e for e in stand.expiring if e.unused),
        stand.left,
        row.id if row else "",
    )


def _counted(m: Moment, counted: Counted) -> str:
    """When and by whom: "Tuesday 6 October 09:10, M. Reed"."""
    on = dated(counted.on, "EEEE d MMMM")
    if counted.by is None:
        return phrase("%(on)s, in the folder", on=on)
    held = m.district.people.get(counted.by)
    at = m.wall(counted.place.school, counted.at, counted.on) if counted.at else ""
    return phrase("%(on)s %(at)s, %(who)s", on=on, at=at, who=held.name if held else counted.by)
