"""One run of a seed from its town to the checker's verdict."""

import gc
import hashlib
import json
import re
from collections import Counter
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from tests.simulation.alone import Alone
from tests.simulation.chances import Chances
from tests.simulation.checker import Case, Checking
from tests.simulation.directed import Story
from tests.simulation.judge_order import Causes, Order
from tests.simulation.judge_turns import Results, Turns
from tests.simulation.judge_wire import Heard, Least, NotForNothing, Once
from tests.simulation.judge_words import Words
from tests.simulation.record import Record, instant, plain
from tests.simulation.seen import Happening, Outside
from tests.simulation.town import Town, made
from tests.simulation.transitions import Taken
from tests.simulation.world import Crew, Plot, World

JUDGES = (Results, Turns, Once, NotForNothing, Heard, Least, Words, Order, Causes)
TRAIL = 30
SHOWN = ("state", "step", "next", "result", "to", "purpose", "outcome", "reason", "key")

MakeCrew = Callable[[Town], Crew]


@dataclass
class Run:
    """What came of a district: nothing `wrong` where every invariant held; `calm` student-days went as they should.
    `name` is that of its directed story, or empty for that of a seed.
    """

    seed: int
    student_days: int
    name: str = ""
    calm: int = 0
    wrong: str = ""
    digest: str = ""
    happened: list[Happening] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    taken: Taken = field(default_factory=Taken)
    error: Exception | None = None
    trail: list[str] = field(default_factory=list)

    @property
    def label(self) -> str:
        """Which it is, in words."""
        return f"the story “{self.name}”" if self.name else f"seed {self.seed}"


def play(
    seed: int,
    days: int | None = None,
    make: MakeCrew = Alone,
    only: Collection[str] | None = None,
    without: Collection[str] = (),
) -> Run:
    """Play a seed's district for so many school days (None: as many as its nature has), `without` these children and
    schools, and with `only` these happenings where they are named.
    """
    town = made(seed, without=without, days=days)
    return played(town, Chances(town), make, only)


def acted(story: Story, make: MakeCrew = Alone) -> Run:
    """Play a directed story."""
    run = played(story.town(), story, make)
    run.name = story.name
    return run


def played(town: Town, plot: Plot, make: MakeCrew = Alone, only: Collection[str] | None = None) -> Run:
    """Play what the plot has happen in a town."""
    run = Run(town.seed, len(town.students) * len(town.days))
    if not town.students:
        return run
    crew = make(town)
    case = Case(town, Outside(), Record(crew.rows))
    world = World(town, plot, crew, case.outside, Checking(case, [judge(case) for judge in JUDGES]), only)
    try:
        with run.taken.watched(), seldom_collecting():
            world.play()
    except AssertionError as wrong:
        run.wrong = str(wrong)
    except Exception as wrong:
        run.wrong = f"{type(wrong).__name__}: {wrong}"
        run.error = wrong
    finally:
        run.digest = digest(crew)
        run.happened, run.counts = case.outside.happened, world.counts
        run.calm = case.record.calm_days()
        run.counts["entries"] = sum(case.record.heads.values())
        run.counts["happenings"] = len(run.happened)
        run.trail = trail(crew, run.wrong)
        crew.close()
    return run


@contextmanager
def seldom_collecting() -> Iterator[None]:
    """The collector looks at nothing that was there before, and seldom at what a world holds until it ends."""
    before = gc.get_threshold()
    gc.freeze()
    gc.set_threshold(200_000, 20, 20)
    try:
        yield
    finally:
        gc.set_threshold(*before)
        gc.unfreeze()


def trail(crew: Crew, wrong: str) -> list[str]:
    """What the journal says of the chases, checks and messages that are named in what is wrong."""
    named = set(re.findall(r"\b(?:ch|ck|msg|rg)-[\w-]+", wrong))
    found = []
    asked = "SELECT at, kind, cause, actor, body FROM journal ORDER BY at, stream, n"
    for at, kind, cause, actor, body in crew.rows(asked, ()) if named else ():
        held = plain(body)
        if held["id"] in named or named & set(held.get("chases", ())):
            shown = {k: v for k, v in held.items() if k in SHOWN and v is not None}
            why = f"because of {', '.join(plain(cause)) or 'nothing'} by {actor or 'nobody'}"
            found.append(f"{instant(at):%m-%d %H:%M:%S} {kind} {held['id']} {shown} {why}")
    return found[-TRAIL:]


def digest(crew: Crew) -> str:
    """A number that is the same for two runs with the same journal."""
    asked = "SELECT stream, n, at, kind, cause, actor, body, seal FROM journal ORDER BY stream, n"
    rows = [[str(value) for value in row] for row in crew.rows(asked, ())]
    return hashlib.sha256(json.dumps(rows).encode()).hexdigest()
