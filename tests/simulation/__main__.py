"""The simulated district from the command line: the directed stories and so many student-days on so many seeds, or one
seed again, or the stories whose names hold some words.

    python -m tests.simulation --student-days 1000000 --transitions
    python -m tests.simulation --replay 17
    python -m tests.simulation --story "nobody is left"

Exit code 1 where a promise was broken, or a transition of the chase was not taken.
"""

import argparse
import sys
from collections.abc import Iterator
from functools import partial

from tests.simulation.directed import CHILDREN
from tests.simulation.makers import DATABASES, maker
from tests.simulation.many import Sum, simulate
from tests.simulation.runs import Run, acted, play
from tests.simulation.shrink import in_words, shrunk
from tests.simulation.stories import STORIES


def told(total: Sum, database: str, instances: int) -> Iterator[str]:
    """What went wrong: a seed's made short, a directed story as it is."""
    make = maker(database, instances)
    for run in total.wrong:
        if run.name:
            yield in_words(run, run.happened, ", ".join(CHILDREN))
        else:
            yield f"{run.label} fails:\n{run.wrong}\n\n{shrunk(run, partial(_replay, run.seed, make))}"


def _replay(seed: int, make: object, only: frozenset[str], without: frozenset[str]) -> Run:
    return play(seed, None, make, only, without)  # type: ignore[arg-type]


def main() -> int:
    parser = argparse.ArgumentParser(
        prog="python -m tests.simulation",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--student-days", type=int, default=20_000)
    parser.add_argument("--database", choices=DATABASES, default="sqlite")
    parser.add_argument("--instances", type=int, default=3, help="how many share PostgreSQL; SQLite has one")
    parser.add_argument("--seed", type=int, default=0, help="the first seed")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--failures", type=int, default=1, help="go on until so many seeds have failed")
    parser.add_argument("--replay", type=int, metavar="SEED", help="play this one seed only")
    parser.add_argument("--transitions", action="store_true", help="print how often each transition was taken")
    parser.add_argument("--story", metavar="WORDS", help="play the directed stories with these words in their names")
    given = parser.parse_args()
    make, total = maker(given.database, given.instances), Sum()
    whole = given.replay is None and given.story is None
    if given.replay is not None:
        total.add(play(given.replay, None, make))
    elif given.story is not None:
        for story in STORIES:
            if given.story in story.name:
                total.add(acted(story, make))
    else:
        total = simulate(
            given.student_days, given.seed, given.workers, given.database, given.instances, given.failures
        )
    for words in told(total, given.database, given.instances):
        print(words)
    if given.transitions:
        print(total.taken.table())
    gaps = total.gaps() if whole else []
    print("\n".join([*gaps, str(total)]))
    return 1 if total.wrong or gaps else 0


if __name__ == "__main__":
    sys.exit(main())
