"""`python -m tests.bench [PART …]` prints every figure with what the machine can do at all beside it.

Figures move from machine to machine, ratios less so; nothing is judged by them. Without names all parts are run,
what leaves the house last, since it needs receivers of its own.
"""

import argparse
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from tests.bench import (
    bench_bell,
    bench_idle,
    bench_instances,
    bench_lateness,
    bench_planning,
    bench_presses,
    bench_replies,
    bench_replies_in,
    bench_scheduler,
    bench_sending,
    bench_start,
)
from tests.bench.figures import HEAD, Figure

PARTS: Mapping[str, Callable[[], Iterator[Figure]]] = {
    "planning": bench_planning.figures,
    "idle": bench_idle.figures,
    "lateness": bench_lateness.figures,
    "scheduler": bench_scheduler.figures,
    "instances": bench_instances.figures,
    "bell": bench_bell.figures,
    "replies": bench_replies.figures,
    "replies-in": bench_replies_in.figures,
    "presses": bench_presses.figures,
    "sending": bench_sending.figures,
    "start": bench_start.figures,
}
APART: Mapping[str, str] = {"outgoing": "bench_outgoing.py"}
"""Parts that print a table of their own."""

ASKED_FOR: Mapping[str, str] = {"archive": "tests.bench.bench_archive", "state": "tests.bench.bench_state"}
"""Parts that are run only where they are named: they take long, and fill a disk or a server."""


def main() -> None:
    """Print the table of the parts that are asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("parts", nargs="*", metavar="PART", help=", ".join([*PARTS, *APART, *ASKED_FOR]))
    chosen = parser.parse_args().parts or [*PARTS, *APART]
    known = [*PARTS, *APART, *ASKED_FOR]
    if unknown := set(chosen) - {*known}:
        parser.error(f"there is no part {', '.join(sorted(unknown))}; there are {', '.join(known)}")
    for name in (name for name in ASKED_FOR if name in chosen):
        subprocess.run([sys.executable, "-m", ASKED_FOR[name]], check=True)
    if not {*PARTS, *APART} & {*chosen}:
        return
    print(HEAD, flush=True)
    for name in (name for name in PARTS if name in chosen):
        for figure in PARTS[name]():
            print(figure, flush=True)
    for name in (name for name in APART if name in chosen):
        subprocess.run([sys.executable, str(Path(__file__).with_name(APART[name]))], check=True)


if __name__ == "__main__":
    main()
