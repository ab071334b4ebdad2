"""Plants faults that people make, one at a time, and says which check caught each.

`python -m tests.mutation` tries all of them, `--only WORDS` those whose name has the words, `--sound` first sees that
the suite holds without any. Exit code 1 where a fault was not caught.
"""

import argparse
import sys
from concurrent.futures import ThreadPoolExecutor
from queue import SimpleQueue

from tests.mutation.defects import DEFECTS, Defect
from tests.mutation.suite import Verdict, copied_tree, objection, tried


def run(defects: tuple[Defect, ...], side_by_side: int) -> list[Verdict]:
    """Try every defect, a few trees side by side, and print each verdict as it comes."""
    trees: SimpleQueue[Defect] = SimpleQueue()
    for defect in defects:
        trees.put(defect)

    def work() -> list[Verdict]:
        found = []
        with copied_tree() as tree:
            while not trees.empty():
                found.append(tried(tree, trees.get()))
                print(said(found[-1]), flush=True)
        return found

    with ThreadPoolExecutor(side_by_side) as pool:
        return [v for part in pool.map(lambda _: work(), range(side_by_side)) for v in part]


def said(verdict: Verdict) -> str:
    """A verdict as a line."""
    caught = f"caught by {verdict.by}" if verdict.by else "NOT CAUGHT"
    return f"{verdict.seconds:6.1f} s  {verdict.name}: {caught}"


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("--only", default="", metavar="WORDS", help="defects whose name has these words")
    parser.add_argument("--sound", action="store_true", help="first see that the suite holds without a defect")
    parser.add_argument("--side-by-side", type=int, default=1, metavar="N", help="trees in work at once [1]")
    given = parser.parse_args()
    if given.sound:
        with copied_tree() as tree:
            wrong = objection(tree)
        if wrong:
            print(f"the suite does not hold without a defect: {wrong}")
            return 1
    chosen = tuple(d for d in DEFECTS if given.only in d.name)
    verdicts = run(chosen, given.side_by_side)
    missed = [v.name for v in verdicts if v.by is None]
    print(f"{len(verdicts) - len(missed)} of {len(verdicts)} caught")
    return 1 if missed or not verdicts else 0


if __name__ == "__main__":
    sys.exit(main())
