"""`bellcheck take-mail`: one raw mail on standard input, from a mail server's pipe.

The exit codes are those that mail servers act on (sysexits.h): 0 taken, 65 nothing was sent, 75 try again later.
Everything that a later attempt might cure is 75, a wrong setting too: no mail is sent back for a fault of ours.
"""

import sys
from argparse import ArgumentParser, Namespace

from service.channels.mime import MOST_BYTES
from service.engine.desk import Desk, NotSetUp
from service.engine.mailroom import Mailroom
from service.engine.trouble import place_of
from service.settings import BadSettings
from service.store.errors import StoreError
from service.verbs.desks import desk_open, settings
from service.verbs.speaking import DONE, CannotRun, Out

NOTHING, LATER = 65, 75


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    parser.add_argument(
        "--channel", metavar="NAME", help="the channel it comes by (default: the one of kind email)"
    )


def run(args: Namespace, out: Out) -> int:
    """Store the mail; the service reads it within seconds."""
    raw = sys.stdin.buffer.read(MOST_BYTES + 1)
    # A mail server that still writes when we end takes that for a failure.
    while sys.stdin.buffer.read(MOST_BYTES):
        pass
    if not raw.strip():
        out.wrong("standard input held no mail; it would be right as: bellcheck take-mail < FILE")
        return NOTHING
    try:
        with desk_open() as desk:
            Mailroom(desk, settings().named.get).take(_channel(desk, args.channel), raw)
    except (StoreError, CannotRun, BadSettings) as error:
        out.wrong(error)
    except NotSetUp:
        out.wrong("no configuration has been applied yet; run `bellcheck apply DIR` first")
    except Exception as failure:
        out.wrong(f"a fault of our own: {place_of(failure)}")
    else:
        return DONE
    return LATER


def _channel(desk: Desk, named: str | None) -> str:
    with desk.glance() as m:
        known = [name for name, setup in m.district.channels.items() if setup.kind == "email"]
    if named is not None and named not in known:
        raise CannotRun(f"there is no channel {named!r} of kind email; it would be right as one of: {', '.join(known)}")
    if named is None and len(known) != 1:
        raise CannotRun(f"say by which channel it comes: --channel {' or '.join(known) or 'NAME'}")
    return named or known[0]
