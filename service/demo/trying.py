"""`bellcheck try`: the page until it is stopped, or the scripted day and a verdict."""

import asyncio
import contextlib
import logging
import signal
import socket
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

from service.demo import CANNOT, DONE
from service.demo.hand import SPEEDS
from service.demo.morning import play
from service.demo.stage import CannotTry, Stage, read_stage
from service.demo.stand import stand
from service.demo.town import HOST, town
from service.serving import CannotServe, listen

PORT = 8421
WHAT_TO_TRY = (
    'Press Begin. At 08:05 L. Teal is asked on her phone; answer "ok" for her.',
    'D. Fenn reads French: answer "1 câble gauche, 2 ok", then "1 non", and see who hears of it.',
    'Answer "mine 30" for the audiologist, who takes it in hand.',
    'J. Aske reads and answers in Spanish: "1 ok, 2 ausente" at 08:40.',
    'Let somebody stay silent, press "Next thing that happens", and watch the chain climb.',
    "Stop with Ctrl-C. Nothing is kept.",
)

Say = Callable[[str], None]


def run(*, headless: bool, port: int | None, speed: float, say: Say, wrong: Say) -> int:
    """Run the demo; the exit code of the command."""
    logging.getLogger("mail.log").setLevel(logging.ERROR)
    try:
        _check_speed(speed)
        stage = read_stage()
        with TemporaryDirectory(prefix="bellcheck-try-") as temp, _door(port, headless) as door:
            if headless:
                return asyncio.run(_headless(stage, Path(temp), door, speed, say, wrong))
            return asyncio.run(_shown(stage, Path(temp), door, speed, say))
    except (CannotTry, CannotServe) as reason:
        wrong(str(reason))
        return CANNOT
    except KeyboardInterrupt:
        return DONE


def _check_speed(speed: float) -> None:
    if not SPEEDS[0] <= speed <= SPEEDS[-1]:
        raise CannotTry(f"--speed is {speed:g}; it would be right between {SPEEDS[0]:g} and {SPEEDS[-1]:g}.")


def _door(port: int | None, headless: bool) -> socket.socket:
    """Where the page listens. A port that was asked for must be free; the usual one may be replaced."""
    if port is not None:
        try:
            return listen(HOST, port)
        except (CannotServe, OverflowError):
            raise CannotTry(f"Port {port} cannot be used here. Name another with --port, or none.") from None
    with contextlib.suppress(CannotServe):
        if not headless:
            return listen(HOST, PORT)
    return listen(HOST, 0)


async def _shown(stage: Stage, temp: Path, door: socket.socket, speed: float, say: Say) -> int:
    stop = _stopped()
    async with town(stage, temp, door, speed, stand) as made:
        say(f"A school morning of an invented district: {made.base_url}/try")
        for line in WHAT_TO_TRY:
            say(f"  {line}")
        await _either(stop, made.ended)
    say("Stopped; the demo's database is removed.")
    return DONE


async def _headless(stage: Stage, temp: Path, door: socket.socket, speed: float, say: Say, wrong: Say) -> int:
    stop = _stopped()
    async with town(stage, temp, door, speed, stand) as made:
        playing = asyncio.create_task(play(made, say, wrong))
        watching = asyncio.create_task(_either(stop, made.ended))
        await asyncio.wait((playing, watching), return_when=asyncio.FIRST_COMPLETED)
        watching.cancel()
        if playing.done():
            return playing.result()
        playing.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await playing
    wrong("The demo was stopped before its day was over.")
    return CANNOT


def _stopped() -> asyncio.Event:
    """An event that Ctrl-C and a request to end set."""
    stop = asyncio.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        with contextlib.suppress(RuntimeError, ValueError):
            asyncio.get_running_loop().add_signal_handler(number, stop.set)
    return stop


async def _either(*events: asyncio.Event) -> None:
    waits = [asyncio.create_task(event.wait()) for event in events]
    try:
        await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for wait in waits:
            wait.cancel()
