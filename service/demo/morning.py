"""The scripted day played as fast as it goes, through the real channels, and judged by those who did not make it."""

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from importlib.resources import files
from typing import Any

from service.core.days import SchoolDay, instant
from service.core.zones import zone
from service.demo import DONE, PROBLEMS
from service.demo.receipts import unlike
from service.demo.stage import DAY, HOME
from service.demo.town import Town
from service.engine import running
from service.rehearsal import Script, read_script, timeline
from service.rehearsal.invariants import broken
from service.rehearsal.lines import lines_of
from service.rehearsal.script import Scripted

SCRIPT = "morning.yaml"
AFTER = timedelta(minutes=2)
"""How long the day is played beyond the last of the last bells, for what still waits to be sent."""

Line = dict[str, Any]
Say = Callable[[str], None]
Shown = tuple[datetime, Scripted]


@cache
def script() -> Script:
    """The demo's own day."""
    return read_script(files("service.demo").joinpath(SCRIPT).read_text("utf-8"), SCRIPT)


async def play(made: Town, say: Say, wrong: Say) -> int:
    """Play the day, print its timeline and what it broke; the exit code."""
    shown, troubles = await _through(made)
    lines = judged(await asyncio.to_thread(lines_of, made.service.desk, made.stage.district, DAY, shown))
    home = made.stage.district.schools[HOME]
    say(f"{DAY:%A, %d %B %Y}. Every time is read on the clock of {home.name}.")
    say(timeline(_readable(lines, home.zone)))
    found = [*troubles, *_broken(lines), *unlike(lines, made.pockets)]
    for each in found:
        wrong(each)
    say(_verdict(made, len(found)))
    return PROBLEMS if found else DONE


def judged(lines: Sequence[Line]) -> list[Line]:
    """The lines with every reading caused by the words it is of, which the service knows by its own id for them,
    and with what they break in the last.
    """
    told = [
        {**line, "cause": [line["id"].removeprefix("rg-")]}
        if line["kind"] == "reading" and not line["cause"]
        else line
        for line in lines
    ]
    return [*told[:-1], {**told[-1], "broken": broken(told)}]


def _broken(lines: Sequence[Line]) -> list[str]:
    """Each broken promise with the lines that show it, as somebody can find them in the timeline."""
    return [
        f"{each['invariant']}: "
        + "; ".join(f"{lines[n - 1]['at'][11:16]} {lines[n - 1]['id']}" for n in each["lines"])
        for each in lines[-1]["broken"]
    ]


def _verdict(made: Town, broken: int) -> str:
    notes = [note for person in made.pockets.people() for note in made.pockets.of(person) if not note.mine]
    mails = sum(note.by_mail for note in notes)
    told = f"{len(notes) - mails} messages arrived by webhook and {mails} by mail"
    return f"{told}. {f'Promises broken: {broken}.' if broken else 'Every promise was kept.'}"


async def _through(made: Town) -> tuple[list[Shown], list[str]]:
    """From one instant at which something happens to the next; what people did, and what did not work."""
    waiting = sorted(script().events, key=lambda event: _instant(made, event))
    end = await asyncio.to_thread(_end, made)
    shown: list[Shown] = []
    troubles: list[str] = []
    await made.hand.settle()
    while True:
        due = await asyncio.to_thread(running.next_due, made.service.desk)
        said = _instant(made, waiting[0]) if waiting else None
        at = min((instant for instant in (due, said) if instant is not None), default=None)
        if at is None or at > end:
            return shown, troubles
        if not await made.hand.move_to(at):
            return shown, [*troubles, f"what was due at {at:%H:%M} UTC did not come to an end"]
        while waiting and _instant(made, waiting[0]) <= at:
            event = waiting.pop(0)
            id = await _happen(made, event)
            if id is None:
                troubles.append(f"line {event.line} of {SCRIPT} was not taken")
            shown.append((at, replace(event, id=id or event.id)))
            await made.hand.settle()


async def _happen(made: Town, event: Scripted) -> str | None:
    """Somebody answers by chat, or gives a notice on the board; the id it is known by, None if it was refused."""
    what = event.what
    if event.kind == "says":
        return await made.pens.chat(what["person"], what["text"])
    given = await made.pens.notice(what["by"], f"{what['text']} at {what['school']}")
    return event.id if given else None


def _instant(made: Town, event: Scripted) -> datetime:
    school = made.stage.district.schools[event.school or HOME]
    return instant(DAY, event.at, zone(school.zone)).astimezone(UTC)


def _end(made: Town) -> datetime:
    with made.service.desk.glance() as m:
        days = [m.day(school, DAY) for school in made.stage.district.schools]
    return max(day.last for day in days if isinstance(day, SchoolDay)) + AFTER


def _readable(lines: Sequence[Line], zone_name: str) -> list[Line]:
    """The day's lines in one zone, so that they run forward; the plan of tomorrow is left out."""
    today = [line for line in lines if line["kind"] != "round" or line["due"].startswith(DAY.isoformat())]
    return [_read_at({**line, "broken": []} if line["kind"] == "end" else line, zone_name) for line in today]


def _read_at(line: Line, zone_name: str) -> Line:
    """The line with every instant in one zone, so that the timeline runs forward."""
    read: Line = {key: _moved(line[key], zone_name) for key in ("at", "due", "until") if line.get(key)}
    if line.get("next"):
        read["next"] = {**line["next"], "at": _moved(line["next"]["at"], zone_name)}
    return {**line, **read}


def _moved(text: str, zone_name: str) -> str:
    return datetime.fromisoformat(text).astimezone(zone(zone_name)).isoformat()
