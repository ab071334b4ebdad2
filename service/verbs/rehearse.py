"""`bellcheck rehearse CONFIG --date D --script FILE`: what the chains would do on a scripted day."""

from argparse import ArgumentParser, Namespace
from pathlib import Path

from service.rehearsal import BadScript, read_script, rehearse, timeline
from service.verbs.folders import folder_argument, json_option, usable
from service.verbs.speaking import DONE, PROBLEMS, CannotRun, Out, a_date

LARGEST = 1_000_000
"""The most bytes of a script."""


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    folder_argument(parser)
    parser.add_argument("--date", required=True, type=a_date, metavar="D", help="as 2026-10-05")
    parser.add_argument("--script", required=True, type=Path, metavar="FILE", help="what happens, in YAML")
    json_option(parser)


def run(args: Namespace, out: Out) -> int:
    """Rehearse the day; exit code 1 where a promise of the service was broken."""
    _, documents = usable(args.folder)
    try:
        script = read_script(_text(args.script), str(args.script))
        lines = rehearse(documents, args.date, script)
    except BadScript as bad:
        raise CannotRun(*bad.problems) from None
    if args.json:
        for line in lines:
            out.json(line, indent=None)
    else:
        out.line(timeline(lines))
    return PROBLEMS if lines[-1]["broken"] else DONE


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > LARGEST:
            raise CannotRun(
                f"{path}:1: the script is larger than 1 MB; it would be right as a few lines of YAML"
            )
        return path.read_text("utf-8-sig")
    except UnicodeDecodeError as error:
        raise CannotRun(
            f"{path}:1: is not UTF-8 text (byte {error.start}); save it with that encoding"
        ) from None
    except OSError as error:
        raise CannotRun(f"{path}:1: cannot be read ({error.strerror}); give the path of the script") from None
