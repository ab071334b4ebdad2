"""`bellcheck version`."""

from argparse import ArgumentParser, Namespace

from service.core.zones import version as zones
from service.edition import edition
from service.verbs.folders import json_option
from service.verbs.speaking import DONE, Out


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    json_option(parser)


def run(args: Namespace, out: Out) -> int:
    """Say the versions."""
    program = edition()
    if args.json:
        out.json({"bellcheck": program, "zone_data": zones()})
    else:
        out.line(f"bellcheck {program}, zone data {zones()}")
    return DONE
