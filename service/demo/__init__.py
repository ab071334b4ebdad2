"""A school morning of an invented district in fast time: the service itself, with pocket phones beside the board."""

from collections.abc import Callable

DONE, PROBLEMS, CANNOT = 0, 1, 2
"""Exit codes: done; the morning broke a promise; could not run."""

SPEED = 60.0
"""Seconds of the school day that one real second takes."""


def try_out(
    *,
    headless: bool = False,
    port: int | None = None,
    speed: float = SPEED,
    say: Callable[[str], None],
    wrong: Callable[[str], None],
) -> int:
    """Show the demo until it is stopped, or with `headless` play its scripted day and judge it.

    `port` is that of the page; without one a usual port is taken, or any other that is free. `say` prints one
    line, `wrong` one line of what is wrong. Returns the exit code.
    """
    from service.demo.trying import run  # noqa: PLC0415 - the command line starts without a web server

    return run(headless=headless, port=port, speed=speed, say=say, wrong=wrong)
