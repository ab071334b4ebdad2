"""`bellcheck read-reply`: what a reply would be read as, offline; `--batch` reads one case a line."""

import json
from argparse import ArgumentParser, Namespace
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from service.core.district import Device, DeviceKind, Side
from service.core.reading import Asked, AskedStudent, Audience, Reading
from service.core.replies import default_words, read
from service.core.replies.page import as_json
from service.verbs.folders import json_option
from service.verbs.speaking import DONE, PROBLEMS, CannotRun, Out

GOOD = ("working", "fixed")
RIGHT = (
    'write {"id": "r1", "audience": "checker", "students": [{"number": 1, "alias": "Wren", "devices": '
    '[{"kind": "hearing-aid", "side": "left"}]}], "text": "ok"}'
)


@dataclass(frozen=True)
class Case:
    """One reply with what was asked; `expect` is what it should be read as, where the line says so."""

    id: str
    text: str
    asked: Asked
    expect: Mapping[str, Any] | None
    doubtful: bool


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    parser.add_argument("text", nargs="*", help="the reply, as it was typed")
    parser.add_argument(
        "--student",
        action="append",
        default=[],
        metavar="ALIAS:DEVICES",
        help="a student who was asked about, as Wren:left cochlear-implant,right hearing-aid; may be repeated",
    )
    parser.add_argument("--contact", action="store_true", help="answers an alert rather than a round")
    parser.add_argument("--batch", type=Path, metavar="FILE", help="one case a line, in JSON")
    parser.add_argument("--score", action="store_true", help="with --batch: compare with what is expected")
    json_option(parser)


def run(args: Namespace, out: Out) -> int:
    """Read one reply, or a file of them."""
    if args.batch is not None:
        return _score(args.batch, out) if args.score else _batch(args.batch, out)
    if not args.text or args.score:
        raise CannotRun("give a reply to read, or --batch FILE; --score needs --batch")
    asked = Asked(Audience.CONTACT if args.contact else Audience.CHECKER, _students(args.student))
    reading = read(" ".join(args.text), asked, default_words())
    if args.json:
        out.json(as_json(reading, "-"), indent=None)
    else:
        out.lines(_page(reading, asked))
    return DONE


def _students(given: list[str]) -> tuple[AskedStudent, ...]:
    wanted = given or ["Wren:left hearing-aid"]
    found = []
    for number, text in enumerate(wanted, start=1):
        alias, _, devices = text.partition(":")
        try:
            held = tuple(_device(d) for d in devices.split(",") if d.strip())
        except ValueError:
            raise CannotRun(
                f"{text!r} is no student; it would be right as Wren:left cochlear-implant"
            ) from None
        found.append(AskedStudent(number, alias, held))
    return tuple(found)


def _device(text: str) -> Device:
    *side, kind = text.split()
    return Device(DeviceKind(kind), Side(side[0]) if side else None)


def _page(reading: Reading, asked: Asked) -> Iterator[str]:
    names = {s.number: s.alias for s in asked.students}
    if reading.emergency:
        yield "emergency: the caution text and the emergency chain go out"
    for number, outcome in sorted(reading.outcomes.items()):
        faults = " ".join(f"{f.code} {f.side.value}" if f.side else f.code for f in outcome.faults)
        yield f"{number} {names.get(number, '')}: {outcome.result.value} {faults}".rstrip()
    for student in asked.students:
        if student.number not in reading.outcomes:
            yield f"{student.number} {student.alias}: still open"
    if reading.command:
        yield f"command: {reading.command.value}" + (f" {reading.minutes} min" if reading.minutes else "")
    for question in reading.questions:
        about = " ".join(str(n) for n in question.numbers)
        yield f"asked back: {question.doubt.value} {about}".rstrip()
    for words in reading.because:
        yield f"because: {words}"


def _batch(path: Path, out: Out) -> int:
    for case in _cases(path):
        out.json(as_json(read(case.text, case.asked, default_words()), case.id), indent=None)
    return DONE


def _score(path: Path, out: Out) -> int:
    """Say how many were read as expected. False good news and a missed emergency are problems, always."""
    right = total = 0
    bad: list[str] = []
    for case in _cases(path):
        if case.expect is None:
            raise CannotRun(f"{path}:1: case {case.id} has no `expect`, so it cannot be scored")
        got = as_json(read(case.text, case.asked, default_words()), case.id)
        if _is_better(case.expect, got):
            bad.append(f"{case.id}: read as better news than it is")
        if case.expect.get("emergency") and not got["emergency"]:
            bad.append(f"{case.id}: an emergency was missed")
        if not case.doubtful:
            total += 1
            right += _comparable(got) == _comparable(case.expect)
    out.lines(bad)
    out.line(f"{right} of {total} read as expected; {len(bad)} read dangerously")
    return PROBLEMS if bad else DONE


def _is_better(expect: Mapping[str, Any], got: Mapping[str, Any]) -> bool:
    for number, outcome in got["outcomes"].items():
        wanted = expect["outcomes"].get(number, {}).get("result")
        if outcome["result"] in GOOD and wanted not in GOOD:
            return True
        if outcome["result"] == "working" and wanted == "fixed":
            return True
    return False


def _comparable(form: Mapping[str, Any]) -> tuple[object, ...]:
    outcomes = {
        number: (
            o["result"],
            sorted((f["code"], f["side"] or "") for f in o["faults"]),
            sorted(o.get("missed_sounds", [])),
        )
        for number, o in form["outcomes"].items()
    }
    return outcomes, form["command"], form["minutes"], form["ask"], bool(form.get("emergency"))


def _cases(path: Path) -> Iterator[Case]:
    try:
        with path.open(encoding="utf-8-sig") as lines:
            for number, line in enumerate(lines, start=1):
                if line.strip():
                    yield _case(line, f"{path}:{number}")
    except UnicodeDecodeError as error:
        raise CannotRun(
            f"{path}:1: is not UTF-8 text (byte {error.start}); save it with that encoding"
        ) from None
    except OSError as error:
        raise CannotRun(f"{path}:1: cannot be read ({error.strerror}); give the path of the cases") from None


def _case(line: str, place: str) -> Case:
    try:
        given = json.loads(line)
        students = tuple(
            AskedStudent(
                int(s["number"]),
                str(s["alias"]),
                tuple(
                    Device(DeviceKind(d["kind"]), Side(d["side"]) if d.get("side") else None)
                    for d in s["devices"]
                ),
                tuple(s.get("nicknames", ())),
            )
            for s in given["students"]
        )
        asked = Asked(Audience(given["audience"]), students, str(given.get("language", "en")))
        return Case(
            str(given["id"]), str(given["text"]), asked, given.get("expect"), bool(given.get("doubtful"))
        )
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        wrong = f"has no {error}" if isinstance(error, KeyError) else "is no case"
        raise CannotRun(f"{place}: {wrong}; {RIGHT}") from None
