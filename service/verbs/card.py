"""`bellcheck card`: cards to print for a student, a room, or a school's front office."""

from argparse import ArgumentParser, Namespace
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from service.core.devices import catalogue
from service.core.district import District, Student
from service.core.forms import forms
from service.engine.clock import wall_now
from service.languages import offered, phrase, speaking
from service.verbs.folders import folder_argument, usable
from service.verbs.speaking import DONE, CannotRun, Out
from service.web.drawings import drawing
from service.wording.cards import Card, office_card, student_card


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    folder_argument(parser)
    parser.add_argument("--student", metavar="ID", help="the card of one student")
    parser.add_argument("--room", metavar="ROOM", help="the cards of all students of a room, a page each")
    parser.add_argument("--school", metavar="ID", help="alone: the front office's card; with --room: which school's")
    parser.add_argument("--out", type=Path, metavar="FILE", required=True, help="the PDF to write")
    parser.add_argument("--language", choices=sorted(offered()), help="of the card; default: the district's")


def run(args: Namespace, out: Out) -> int:
    """Write the cards; a sign that the letters do not have is printed by its name and told of."""
    district, _ = usable(args.folder)
    with speaking(args.language or district.language):
        cards, title = _cards(district, args, wall_now().date())
        _write(cards, title, args.language or district.language, args.out, out)
    return DONE


def _cards(district: District, args: Namespace, printed: date) -> tuple[Sequence[Card], str]:
    codes = catalogue(district.faults)
    if args.school and args.school not in district.schools:
        there = ", ".join(district.schools)
        raise CannotRun(f"--school {args.school}: there is no such school; it would be right as one of: {there}")
    if args.school and not (args.student or args.room):
        return [office_card(district, codes, args.school, printed)], phrase("Card for the front office")
    found = [student_card(district, codes, student, printed) for student in _students(district, args)]
    return found, phrase("Cards for daily checks")


def _students(district: District, args: Namespace) -> Sequence[Student]:
    """Whose cards are wanted. Raises `CannotRun` where that is nobody, or rooms of several schools."""
    if args.student and args.room:
        raise CannotRun("--student with --room: one card, or those of a room; leave one out")
    if args.student:
        student = district.students.get(args.student)
        if student is None or args.school not in (None, student.school):
            where = f" at {args.school}" if args.school else ""
            raise CannotRun(f"--student {args.student}: there is no such student{where}; see the folder's students")
        return [student]
    if not args.room:
        raise CannotRun("nothing says which card; write --student ID, --room ROOM or --school ID")
    held = [s for s in district.students.values() if s.room == args.room and args.school in (None, s.school)]
    schools = dict.fromkeys(s.school for s in held)
    if not held:
        rooms = ", ".join(dict.fromkeys(s.room for s in district.students.values() if args.school in (None, s.school)))
        raise CannotRun(f"--room {args.room}: no student is there; it would be right as one of: {rooms}")
    if len(schools) > 1:
        raise CannotRun(f"--room {args.room}: there is one at {' and at '.join(schools)}; add --school")
    return held


def _write(cards: Sequence[Card], title: str, language: str, path: Path, out: Out) -> None:
    # Only who prints waits for what makes a PDF.
    from service.paper.cards import cards as printed  # noqa: PLC0415
    from service.paper.pen import DoesNotFitError  # noqa: PLC0415

    try:
        made = printed(cards, {shape: drawing(shape.kind, "", shape.form) for shape in forms()}, title, language)
    except DoesNotFitError as error:
        raise CannotRun(f"the card of {error} does not fit on one page; shorten its lights or family first") from None
    for name in made.unshown:
        out.wrong(f"warning: the letters of the card have no “{name}”; its name is printed instead")
    write_bytes(path, made.pdf, out)


def write_bytes(path: Path, made: bytes, out: Out) -> None:
    """Write a file and say so. Raises `CannotRun` where it cannot be."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(made)
    except OSError as error:
        raise CannotRun(f"{path} cannot be written: {error.strerror}; name a place that can be") from None
    out.line(f"wrote {path}")
