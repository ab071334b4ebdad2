"""One breath of a reply: who is spoken of, what is said, and what takes the edge off it."""

from dataclasses import dataclass, field

from service.core.district import Side
from service.core.replies.item import Item


@dataclass(slots=True)
class Ref:
    """A student by number, with the side typed right after it, and whether the name was typed exactly."""

    number: int
    side: Side | None = None
    sure: bool = True
    by_name: bool = False


@dataclass(slots=True)
class Segment:
    """One breath of a reply. `joined` says how it hangs on what came before."""

    joined: str = ""
    refs: list[Ref] = field(default_factory=list)
    quantity: str = ""
    strangers: list[str] = field(default_factory=list)
    sides: list[Side] = field(default_factory=list)
    both: bool = False
    other: bool = False
    devices: list[str] = field(default_factory=list)
    said: list[Item] = field(default_factory=list)
    hazards: list[Item] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)
    strange: list[str] = field(default_factory=list)
    nots: int = 0
    pronoun: bool = False
    they: bool = False
    staff: bool = False
    selfish: bool = False
    benign: bool = False
    after: bool = False
    room: bool = False
    belonging: bool = False
    arrival: bool = False
    narrowed: bool = False
    crossed: bool = False
    asked: bool = False
    missed: list[str] = field(default_factory=list)
    noticed: list[str] = field(default_factory=list)
    false: int = 0
    odd: bool = False
    everyday: int = 0
    guessed: bool = False
    items: list[Item] = field(default_factory=list)
    thing: bool = False
    courtesy: bool = False
    denied: bool = False
    words: int = 0

    def says(self, *roles: str) -> bool:
        """Whether something of one of these roles was said."""
        for item in self.said:  # noqa: SIM110 (a plain loop: this is asked for every word)
            if item.role in roles:
                return True
        return False

    def has(self, *roles: str) -> bool:
        """Whether a hazard of one of these roles is near."""
        for item in self.hazards:  # noqa: SIM110
            if item.role in roles:
                return True
        return False

    @property
    def subject(self) -> bool:
        """Whether somebody is named."""
        return bool(self.refs or self.quantity or self.strangers or self.staff)

    @property
    def empty(self) -> bool:
        """Whether nothing at all was understood in it."""
        heard = self.missed or self.noticed or self.false
        return not (self.subject or self.said or self.sides or self.devices or self.other or heard)

    @property
    def blank(self) -> bool:
        """Whether it neither says nor spoils anything."""
        spoils = self.hazards or self.unknown or self.nots or self.asked or self.selfish or self.benign
        return self.empty and not spoils and self.joined not in ("except", "but")
