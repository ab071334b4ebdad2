"""`bellcheck preflight [CONFIG]`: everything worth a look before serving, each line with what to do."""

import asyncio
import secrets
from argparse import ArgumentParser, Namespace
from collections.abc import Iterator
from pathlib import Path

from service.channels.addresses import AddressGuard
from service.channels.options import reveal, words
from service.channels.protocol import Parcel
from service.channels.server_date import server_date
from service.core.district import District
from service.engine import monitor, preflight, soundness
from service.engine.carriers import Carriers
from service.engine.clock import RealClock, wall_now
from service.engine.desk import Desk, NotSetUp
from service.engine.finding import Finding
from service.settings import Settings
from service.setup import Documents, build
from service.store import configuration
from service.store.base import Store
from service.store.errors import StoreError
from service.store.journal import Journal
from service.verbs.desks import settings
from service.verbs.folders import json_option, usable
from service.verbs.speaking import DONE, PROBLEMS, Out
from service.wiring import channel_maker


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    parser.add_argument(
        "folder", metavar="CONFIG", type=Path, nargs="?", help="a folder (default: what was applied)"
    )
    parser.add_argument(
        "--no-message", action="store_true", help="reach webhooks only; send no signed test message"
    )
    json_option(parser)


def run(args: Namespace, out: Out) -> int:
    """Look at everything; exit code 1 where something is to be done."""
    known = settings(args.folder)
    store = Store(known.database)
    try:
        documents = usable(args.folder)[1] if args.folder else _stored(store)
        found = list(_still(known, store, documents or {}))
    finally:
        store.close()
    if documents:
        found += asyncio.run(_reached(known, build(documents), not args.no_message))
        found += preflight.mailboxes(build(documents), known.named.get)
        found += preflight.paces(build(documents), wall_now().date())
    else:
        found.append(Finding("configuration", False, "none was applied", "run `bellcheck apply DIR`"))
    _tell(found, args.json, out)
    return DONE if all(f.good for f in found) else PROBLEMS


def _stored(store: Store) -> dict[str, dict[str, dict[str, object]]]:
    try:
        with store.reading() as tx:
            return configuration.current(tx)
    except StoreError:
        return {}


def _still(known: Settings, store: Store, documents: Documents) -> Iterator[Finding]:
    yield preflight.zone_data()
    yield from preflight.keys(known.server_key, known.board_key, known.base_url)
    yield from preflight.secrets_held(documents, known.named)
    yield from soundness.database(store)
    yield preflight.disk(store)
    yield preflight.port(known.host, known.port)
    try:
        with Desk(store, RealClock(), Journal(b""), b"", "preflight").glance() as m:
            yield preflight.kept_too_long(m)
    except (NotSetUp, StoreError):
        return


async def _reached(known: Settings, district: District, sends: bool) -> list[Finding]:
    guard = AddressGuard()
    carriers = Carriers(channel_maker(known, guard))
    found = [finding async for finding in preflight.channels(district, carriers, _test if sends else None)]
    to_monitor = Carriers(channel_maker(known, guard, monitor.FIELDS))
    found += [finding async for finding in preflight.monitor(district, to_monitor)]
    for setup in district.channels.values():
        address = _web_address(known, district, setup.name)
        if address is not None:
            said = await server_date(address, guard, words(setup.options.get("allow")))
            return [*found, preflight.clock_skew(said, wall_now())]
    return found


def _test(address: str) -> Parcel:
    """A message that asks for nothing, to one address."""
    id, now = f"msg-test-{secrets.token_hex(6)}", wall_now()
    line = "Test message: nothing to do"
    text = "This is a test of the way for messages. There is nothing to do and nothing to answer."
    return Parcel(
        id=id, key=id, to_address=address, subject=line, lock_line=line, text=text, html=None, link=None,
        purpose="test", thread=None, in_reply_to=None, reply_token=None, at=now, give_up_at=None,
    )  # fmt: skip


def _web_address(known: Settings, district: District, channel: str) -> str | None:
    """The first web address that the channel uses; None where it has none or its secret is not set."""
    own = district.channels[channel].options.get("url")
    ways = [w.address for p in district.people.values() for w in p.channels if w.channel == channel]
    for held in [own] if own is not None else ways:
        try:
            address = reveal(held, known.named.get)
        except ValueError:
            continue
        if address.startswith(("https://", "http://")):
            return address
    return None


def _tell(found: list[Finding], as_json: bool, out: Out) -> None:
    if as_json:
        out.json([{"what": f.what, "good": f.good, "found": f.found, "do": f.do} for f in found])
        return
    for finding in found:
        mark = "ok      " if finding.good else "TO DO   "
        out.line(f"{mark}{finding.what}: {finding.found}" + ("" if finding.good else f". {finding.do}."))
    left = sum(not f.good for f in found)
    out.line(f"{left} to do." if left else "All is ready.")
