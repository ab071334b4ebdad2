"""`bellcheck serve`: the service itself, until it is told to stop."""

from argparse import ArgumentParser, Namespace

from service import logs
from service.serving import CannotServe, serve
from service.verbs.desks import settings
from service.verbs.speaking import DONE, CannotRun, Out
from service.wiring import build


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes: everything else is in the environment."""
    parser.add_argument("--log", default="warning", choices=("warning", "info"), help="how much is logged")


def run(args: Namespace, out: Out) -> int:
    """Serve until SIGTERM or SIGINT."""
    service = build(settings())
    logs.set_up(service.settings.log, args.log, service.desk.owner)

    def started(address: str) -> None:
        out.line(f"bellcheck serves at {address}; links begin with {service.settings.base_url}")
        out.flush()

    try:
        serve(service, started)
    except CannotServe as error:
        raise CannotRun(error) from None
    finally:
        service.close()
    return DONE
