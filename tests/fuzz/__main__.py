"""Throws made-up mails and words at the service for as long as is said: `python -m tests.fuzz --seconds 3600`.

Each is stored, answered or shown; none raises, takes long, or is read as good news. `--replay SEED` plays one
morning again. Exit code 1 where anything was wrong.
"""

import argparse
import sys
import time

from tests.fuzz.doors import OF_ONE_MORNING, Tally, fuzz


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--seed", type=int, default=0, help="the first")
    parser.add_argument("--replay", type=int, metavar="SEED")
    given = parser.parse_args()
    tally, seed = Tally(), given.seed
    if given.replay is not None:
        fuzz(given.replay, OF_ONE_MORNING, tally)
    end = time.monotonic() + (0 if given.replay is not None else given.seconds)
    while time.monotonic() < end:
        before = len(tally.wrong)
        fuzz(seed, OF_ONE_MORNING, tally)
        for why in tally.wrong[before:]:
            print(f"seed {seed}: {why}", flush=True)
        seed += 1
    print(*(tally.wrong if given.replay is not None else ()), tally, sep="\n")
    return 1 if tally.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
