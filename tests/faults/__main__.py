"""`python -m tests.faults kill --points 200 --database sqlite|postgres --beside 3`: real instances ended by force.
`python -m tests.faults break --seconds 60 [FAULT …]`: what they stand on fails for a while.

Mornings are played, several side by side, until so many points are taken; what each found is printed as it ends, the
sum at the end. Exit code 1 where anything was lost, told for nothing or told twice.
"""

import argparse
import sys
import time
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from multiprocessing import get_context

from tests.faults.breaking import FAULTS, play
from tests.faults.judging import wrongs
from tests.faults.killing import killed, left_alone
from tests.faults.machinery import Forbidden
from tests.faults.morning import DATABASES

A_MORNING = 14
"""Points that one morning has room for."""

SLOW_AT_MOST = 5
"""So many mornings may be too fast for a busy machine before it is given up."""


def kill(points: int, database: str, beside: int, seed: int) -> int:
    """Take so many points; says what came of them."""
    alone = left_alone(database)
    besides_alone = [f"{key} was told" for key in alone.besides if key.endswith("/alert/1")]
    found = [f"left alone: {w}" for w in (*wrongs(alone), *besides_alone)]
    taken: Counter[str] = Counter()
    downs, again, besides, mornings, slow, began = 0, 0, 0, 0, 0, time.monotonic()
    with ProcessPoolExecutor(beside, mp_context=get_context("spawn")) as pool:
        under_way = {pool.submit(killed, database, A_MORNING, seed + n): seed + n for n in range(beside)}
        following = seed + beside
        while under_way:
            done, _ = wait(under_way, return_when=FIRST_COMPLETED)
            for future in done:
                own = under_way.pop(future)
                try:
                    ended, killer = future.result()
                except TimeoutError as late:
                    slow += 1
                    print(f"seed {own}: the machine was too slow for it, none of it counts: {late}", flush=True)
                else:
                    wrong = wrongs(ended)
                    taken += killer.taken
                    downs, again, mornings = downs + killer.downs, again + ended.again, mornings + 1
                    besides += len(ended.besides)
                    found += [f"seed {own}: {w}" for w in wrong]
                    so_far = f"{killer.taken.total()} ends, {len(wrong)} wrong; {taken.total()} in all"
                    print("\n".join([f"seed {own}: {so_far}", *wrong]), flush=True)
                if slow < SLOW_AT_MOST and taken.total() + A_MORNING * len(under_way) // 2 < points:
                    under_way[pool.submit(killed, database, A_MORNING, following)] = following
                    following += 1
    for name, times in sorted(taken.items()):
        print(f"{times:4}  {name}")
    print(f"{taken.total():4}  ends by force in {mornings} mornings on {database}, {downs} of them with nobody serving")
    print(f"{again:4}  messages arrived a second time under the same id")
    print(f"{besides:4}  reminders and further tellings besides, since a limit ran out in an outage")
    print(f"{time.monotonic() - began:4.0f}  seconds")
    found += [f"{slow} mornings were too fast for this machine"] if slow else []
    print("\n".join(found) or "nothing lost, nothing told twice")
    return 1 if found else 0


def break_all(names: Sequence[str], seconds: float) -> int:
    """Let each fault last so many seconds in a morning of its own; says what was said and what came of it."""
    bad = 0
    for name in names:
        try:
            broken = play(FAULTS[name], seconds)
        except Forbidden as reason:
            print(f"{name}: this machine does not permit it: {reason}", flush=True)
            continue
        wrong = [*broken.wrong, *wrongs(broken.ended)]
        bad += bool(wrong)
        print(f"{name}: well again after {broken.recovered:.1f} s, {len(wrong)} wrong", flush=True)
        print("\n".join([f"  said:   {words} (x{n})" for words, n in broken.said.items()]))
        print("\n".join([f"  logged: {words} (x{n})" for words, n in broken.logged.items()]))
        print("\n".join([f"  wrong:  {words}" for words in wrong]), flush=True)
    return 1 if bad else 0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    verbs = parser.add_subparsers(dest="verb", required=True)
    killing = verbs.add_parser("kill", help="end instances by force at random points")
    killing.add_argument("--points", type=int, default=200)
    killing.add_argument("--database", choices=sorted(DATABASES), default="sqlite")
    killing.add_argument("--beside", type=int, default=3, help="mornings side by side")
    killing.add_argument("--seed", type=int, default=1)
    breaking = verbs.add_parser("break", help="let the database, disk or network fail for a while")
    breaking.add_argument("fault", nargs="*", choices=[*FAULTS, []], help="which (default: all)")
    breaking.add_argument("--seconds", type=float, default=60.0)
    given = parser.parse_args()
    if given.verb == "break":
        return break_all(given.fault or list(FAULTS), given.seconds)
    return kill(given.points, given.database, given.beside, given.seed)


if __name__ == "__main__":
    sys.exit(main())
