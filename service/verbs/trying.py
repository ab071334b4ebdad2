"""`bellcheck try`: a school morning of an invented district, in fast time."""

from argparse import ArgumentParser, Namespace

from service.demo import SPEED, try_out
from service.verbs.speaking import Out


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    parser.add_argument("--headless", action="store_true", help="play a scripted morning and judge it")
    parser.add_argument("--port", type=int, help="port of the page (default: a usual one, or any free one)")
    parser.add_argument("--speed", type=float, default=SPEED, help="how many times as fast (default: 60)")


def run(args: Namespace, out: Out) -> int:
    """Try it."""

    def say(line: str) -> None:
        out.line(line)
        out.flush()

    return try_out(headless=args.headless, port=args.port, speed=args.speed, say=say, wrong=out.wrong)
