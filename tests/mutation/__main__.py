"""Plants faults that people make, one at a time, and says which check caught each.

`python -m tests.mutation` tries all of them, `--only WORDS` those whose name has the words, `--sound` first sees that
the suite holds without any. `python -m tests.mutation core [ROOM ...]` tries instead every small change that a general
tool thinks of, in the rooms of the core, and prints those that no test objects to and nobody has explained. Exit code 1
where something was not caught.
"""

import argparse
import sys
from concurrent.futures import ThreadPoolExecutor
from queue import Empty, SimpleQueue

from tests.mutation import general
from tests.mutation.defects import DEFECTS, Defect
from tests.mutation.suite import Verdict, copied_tree, objection, tried


def run(defects: tuple[Defect, ...], side_by_side: int) -> list[Verdict]:
    """Try every defect, a few trees side by side, and print each verdict as it comes."""
    waiting: SimpleQueue[Defect] = SimpleQueue()
    for defect in defects:
        waiting.put(defect)

    def work() -> list[Verdict]:
        found: list[Verdict] = []
        with copied_tree() as tree:
            while True:
                try:
                    found.append(tried(tree, waiting.get_nowait()))
                except Empty:
                    return found
                print(said(found[-1]), flush=True)

    with ThreadPoolExecutor(side_by_side) as pool:
        return [v for part in pool.map(lambda _: work(), range(side_by_side)) for v in part]


def said(verdict: Verdict) -> str:
    """A verdict as a line."""
    caught = f"caught by {verdict.by}" if verdict.by else "NOT CAUGHT"
    return f"{verdict.seconds:6.1f} s  {verdict.name}: {caught}"


def planted(only: str, sound: bool, side_by_side: int) -> int:
    """Plant the defects of people; the exit code."""
    if sound:
        with copied_tree() as tree:
            wrong = objection(tree)
        if wrong:
            print(f"the suite does not hold without a defect: {wrong}")
            return 1
    verdicts = run(tuple(d for d in DEFECTS if only in d.name), side_by_side)
    missed = [v.name for v in verdicts if v.by is None]
    print(f"{len(verdicts) - len(missed)} of {len(verdicts)} caught")
    return 1 if missed or not verdicts else 0


def changed(rooms: list[str], side_by_side: int) -> int:
    """Try every small change in these rooms of the core; the exit code."""
    known = general.explained()
    new = 0
    for room in rooms or general.ROOMS:
        with copied_tree() as tree:
            general.prepare(tree, general.ROOMS[room])
            found = list(general.survivors(tree, side_by_side))
        left = general.unexplained(found, known)
        new += len(left)
        print("\n".join([f"{room}: {len(found)} survive, {len(left)} unexplained", *map(str, left)]), flush=True)
    return 1 if new else 0


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("what", nargs="?", choices=("planted", "core"), default="planted")
    parser.add_argument("room", nargs="*", help=f"rooms of the core: {', '.join(general.ROOMS)} [all]")
    parser.add_argument("--only", default="", metavar="WORDS", help="defects whose name has these words")
    parser.add_argument("--sound", action="store_true", help="first see that the suite holds without a defect")
    parser.add_argument("--side-by-side", type=int, default=1, metavar="N", help="trees in work at once [1]")
    given = parser.parse_args()
    if unknown := sorted(set(given.room) - set(general.ROOMS)):
        parser.error(f"no such room of the core: {', '.join(unknown)}; there are {', '.join(general.ROOMS)}")
    if given.what == "core":
        return changed(given.room, given.side_by_side)
    return planted(given.only, given.sound, given.side_by_side)


if __name__ == "__main__":
    sys.exit(main())
