"""One run of a seed from its town to the checker's verdict."""

import hashlib
import json
import re
from collections import Counter
from collections.abc import Callable, Collection
from dataclasses import dataclass, field

from tests.simulation.alone import Alone
from tests.simulation.checker import Case, Checking
from tests.simulation.judge_order import Causes, Order
from tests.simulation.judge_turns import Results, Turns
from tests.simulation.judge_wire import Heard, Least, NotForNothing, Once
from tests.simulation.judge_words import Words
from tests.simulation.record import Record, instant, plain
from tests.simulation.seen import Happening, Outside
from tests.simulation.town import Town, made
from tests.simulation.transitions import Taken
from tests.simulation.world import Crew, World

JUDGES = (Results, Turns, Once, NotForNothing, Heard, Least, Words, Order, Causes)
DAYS = 3
TRAIL = 30
SHOWN = ("state", "step", "next", "result", "to", "purpose", "outcome", "reason", "key")

MakeCrew = Callable[[Town], Crew]


@dataclass
class Run:
    """What came of a seed: nothing `wrong` where every invariant held."""

    seed: int
    student_days: int
    wrong: str = ""
    digest: str = ""
    happened: list[Happening] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    taken: Taken = field(default_factory=Taken)
    error: Exception | None = None
    trail: list[str] = field(default_factory=list)


def play(
    seed: int,
    days: int = DAYS,
    make: MakeCrew = Alone,
    only: Collection[str] | None = None,
    without: Collection[str] = (),
) -> Run:
    """Play a seed's district for so many school days, `without` these children and schools, and with `only` these
    happenings where they are named.
    """
    town = made(seed, without=without, days=days)
    run = Run(seed, len(town.students) * len(town.days))
    if not town.students:
        return run
    crew = make(town)
    case = Case(town, Outside(), Record(crew.rows))
    world = World(town, crew, case.outside, Checking(case, [judge(case) for judge in JUDGES]), only)
    try:
        with run.taken.watched():
            world.play()
    except AssertionError as wrong:
        run.wrong = str(wrong)
    except Exception as wrong:
        run.wrong = f"{type(wrong).__name__}: {wrong}"
        run.error = wrong
    finally:
        run.digest = digest(crew)
        run.happened, run.counts = case.outside.happened, world.counts
        run.trail = trail(crew, run.wrong)
        crew.close()
    return run


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
