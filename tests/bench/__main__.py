"""`python -m tests.bench` prints every figure with what the machine can do at all beside it.

Figures move from machine to machine, ratios less so; nothing is judged by them.
"""

import argparse
import subprocess
import sys
from pathlib import Path

from tests.bench import bench_planning, bench_replies, bench_replies_in, bench_start
from tests.bench.figures import HEAD


def main() -> None:
    """Print the table; what leaves the house last, since it needs receivers of its own."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--schools", type=int, default=bench_planning.SCHOOLS)
    parser.add_argument("--without-sending", action="store_true")
    given = parser.parse_args()
    print(HEAD, flush=True)
    for part in (
        bench_planning.figures(given.schools),
        bench_replies.figures(),
        bench_replies_in.figures(),
        bench_start.figures(),
    ):
        for figure in part:
            print(figure, flush=True)
    if not given.without_sending:
        subprocess.run([sys.executable, str(Path(__file__).with_name("bench_outgoing.py"))], check=True)


if __name__ == "__main__":
    main()
