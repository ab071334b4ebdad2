"""`bellcheck read-reply`: what a reply would be read as, offline; `--batch` reads one case a line."""

from argparse import ArgumentParser, Namespace
from collections.abc import Iterator, Sequence
from pathlib import Path

from service.core.district import Device, DeviceKind, Side
from service.core.reading import Asked, AskedStudent, Audience, Reading
from service.core.replies import default_words, read
from service.core.replies.page import as_json
from service.verbs.folders import json_option
from service.verbs.reply_cases import cases
from service.verbs.reply_scores import Tally, tally
from service.verbs.speaking import DONE, PROBLEMS, CannotRun, Out


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
    parser.add_argument(
        "--batch", type=Path, metavar="FILE", action="append", help="one case a line, in JSON; may be repeated"
    )
    parser.add_argument(
        "--score", action="store_true", help="with --batch: compare with what is expected, by category and language"
    )
    json_option(parser)


def run(args: Namespace, out: Out) -> int:
    """Read one reply, or a file of them."""
    if args.batch:
        return _score(args.batch, args.json, out) if args.score else _batch(args.batch, out)
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


def _batch(paths: Sequence[Path], out: Out) -> int:
    for case in cases(paths):
        out.json(as_json(read(case.text, case.asked, default_words()), case.id), indent=None)
    return DONE


def _score(paths: Sequence[Path], as_values: bool, out: Out) -> int:
    """The table. False good news and a missed emergency are problems, always."""
    scored = tally(cases(paths))
    if as_values:
        out.json(scored.as_values())
    else:
        out.table(Tally.HEADS, scored.rows())
        out.lines(scored.dangers)
        total, dangers = scored.total, len(scored.dangers)
        out.line(f"{total.agreed} of {total.undoubtful} read as expected; {dangers} read dangerously")
        if scored.otherwise:
            out.line(f"read otherwise: {' '.join(scored.otherwise)}")
    return PROBLEMS if scored.dangers else DONE
