"""What was planted into the invented year: who, what, from when, and who should find it by when.

The dates are of a school year whatever its number; `clean` is a year in which nothing was planted.
"""

from dataclasses import dataclass
from datetime import date

from service.demo.year.calendar import FIRST_MONTH


@dataclass(frozen=True)
class Trouble:
    """One thing that is wrong: of `what` kind, with whom or at which shelf, school or type (`subject`), from a month
    and day on (and until, if it ends); `rate` is how bad. `within` says how long the program may take until it says
    so, in school days.
    """

    what: str
    subject: str
    since: tuple[int, int]
    within: int
    until: tuple[int, int] | None = None
    rate: float = 1.0

    def holds(self, autumn: int, day: date) -> bool:
        """Whether it stands on a date of the school year that began in that autumn."""
        return dated(autumn, self.since) <= day and (self.until is None or day <= dated(autumn, self.until))


SLIPS = "a sound is lost"
AIDE_LEFT = "the aide has left"
BAD_CELLS = "a batch of bad cells"
WEAK_CABLE = "a cable type that fails twice as often"
NOT_LOOKING = "answers without looking"
NEVER_ANSWERS = "the second contact never answers"

PLANTED = (
    Trouble(SLIPS, "fallow-end-01", (1, 14), within=20, rate=0.6),
    Trouble(AIDE_LEFT, "cinder-hill", (10, 20), within=20),
    Trouble(BAD_CELLS, "peel-lane-13", (2, 23), within=35, until=(5, 1), rate=5.0),
    Trouble(WEAK_CABLE, "coiled", (7, 1), within=175, rate=2.0),
    Trouble(NOT_LOOKING, "sedge-common-r2", (7, 1), within=175, rate=0.1),
    Trouble(NEVER_ANSWERS, "otter-ford", (7, 1), within=140),
)
"""The sound /s/ on the left goes; a quiet school loses its aide; cells of a lot that was opened in February run down
five times as fast; the coiled cable; a teacher who sees one fault in ten; a school whose second contact is never there.
"""


def dated(autumn: int, at: tuple[int, int]) -> date:
    """A month and day in the school year that began in that autumn."""
    month, day = at
    return date(autumn if month >= FIRST_MONTH else autumn + 1, month, day)
