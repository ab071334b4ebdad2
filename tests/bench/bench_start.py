"""How long a command takes to start and do its work."""

import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from tests.bench.figures import Figure, beside

ROOT = Path(__file__).parents[2]


def milliseconds(*command: str) -> float:
    begun = time.perf_counter()
    subprocess.run([sys.executable, *command], cwd=ROOT, check=True, capture_output=True)
    return (time.perf_counter() - begun) * 1000


def figures() -> Iterator[Figure]:
    commands: Sequence[tuple[str, Sequence[str]]] = (
        ("bellcheck version", ("version",)),
        ("bellcheck day of the demonstration district", ("day", "config_demo", "--date", "2026-09-15")),
        ("bellcheck check-config of the same", ("check-config", "config_demo")),
    )
    for name, arguments in commands:
        yield beside(
            name,
            "an empty program",
            "ms",
            lambda: milliseconds("-c", "pass"),
            lambda arguments=arguments: milliseconds("-m", "service", *arguments),
        )
