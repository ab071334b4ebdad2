"""One word or phrase of a reply, as the grammar sees it."""

from dataclasses import dataclass, field

from service.core.replies.words import Meanings


@dataclass(slots=True)
class Item:
    """One word or phrase: its role, the value of the role, what else it may mean, and the words typed.

    `skipped` are the places of light words that stood within the phrase; `inside` says that it is such
    a word; `part` that a part of a device is named in it.
    """

    role: str
    value: str = ""
    text: str = ""
    means: Meanings = field(default_factory=dict)
    number: int = 0
    sure: bool = True
    skipped: tuple[int, ...] = ()
    part: bool = False
    inside: bool = False

    def can(self, kind: str) -> bool:
        """Whether the words may have a meaning of `kind`."""
        return kind in self.means
