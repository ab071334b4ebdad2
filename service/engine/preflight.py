"""Everything worth a look before serving: each finding says what was found and what to do."""

import errno
import shutil
import socket
from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from datetime import date, datetime, timedelta
from http.client import HTTPConnection, HTTPException
from pathlib import Path

from service.channels.mailbox import MailboxTrouble, has_mailbox, probe, read_mailbox
from service.channels.pace import read_rate
from service.channels.protocol import Channel, Parcel, Secrets
from service.core.days import school_day
from service.core.district import District, Role
from service.core.routines import rounds
from service.core.rush import Rush, rush
from service.core.zones import version, zone
from service.engine import retention
from service.engine.carriers import Carriers
from service.engine.desk import Moment
from service.engine.finding import Finding
from service.engine.monitor import way_of
from service.engine.server_time import SAY_FROM
from service.setup.judge import OLDEST_ZONES
from service.setup.secrets import secret_names
from service.store.base import Store

LEAST_FREE = 500_000_000
"""Bytes left on the disk; a district of 40 schools writes some megabytes a day (own estimate)."""

VARIED = 10
"""Different bytes that a key made by chance has at least; one of 64 hexadecimal digits has some 16."""

BOARD_KEY = 12
"""Characters of a board key, with ten wrong ones a minute (own estimate)."""

PORT_SECONDS = 3.0

TOLD_WITHIN = timedelta(minutes=2)
"""What has not left by then counts as not told, and the next person is told as well (rule C3)."""

ADDRESSES_TRIED = 20
"""At most so many people's own addresses are tried for each channel."""


def zone_data() -> Finding:
    """Whether the zone data is young enough."""
    edition = version()
    return Finding(
        "zone data", edition >= OLDEST_ZONES, edition, f"install the package tzdata of {OLDEST_ZONES}"
    )


def keys(server_key: bytes | None, board_key: str | None, base_url: str) -> Iterator[Finding]:
    """The service's own keys, and whether links are safe on their way."""
    yield _server_key(server_key)
    yield _board_key(board_key)
    local = any(host in base_url for host in ("//127.0.0.1", "//localhost", "//[::1]"))
    do = "put a proxy with TLS before the service and set BELLCHECK_BASE_URL to its https address"
    yield Finding(
        "links", base_url.startswith("https://"), base_url + (" (this machine only)" if local else ""), do
    )


def _server_key(key: bytes | None) -> Finding:
    if key is None:
        return Finding("server key", False, "not set", "set BELLCHECK_KEY (32 bytes or more)")
    if len(set(key)) < VARIED:
        return Finding("server key", False, "set, but easily guessed", "set BELLCHECK_KEY to one made by chance")
    return Finding("server key", True, f"set, {len(key)} bytes")


def _board_key(key: str | None) -> Finding:
    if key is None:
        return Finding("board key", False, "not set", "set BELLCHECK_BOARD_KEY")
    do = f"set BELLCHECK_BOARD_KEY to {BOARD_KEY} characters or more"
    return Finding("board key", len(key) >= BOARD_KEY, f"set, {len(key)} characters", do)


def secrets_held(documents: Mapping[str, object], held: Mapping[str, str]) -> Iterator[Finding]:
    """Every secret that the folder names; what it holds is never shown."""
    for name in secret_names(documents):
        there = bool(held.get(name, "").strip())
        do = f"set {name} in the environment or in the file that BELLCHECK_SECRETS names"
        yield Finding(f"secret {name}", there, "set" if there else "not set", do)


def kept_too_long(m: Moment) -> Finding:
    """Whether names are kept for longer than the folder says."""
    oldest = retention.is_due(m)
    found = f"names are kept since {oldest}" if oldest else "no name is kept longer than the folder says"
    return Finding("retention", oldest is None, found, "run `bellcheck forget --before`")


def disk(store: Store) -> Finding:
    """How much room is left where an SQLite database grows."""
    if store.dialect != "sqlite" or store.in_memory:
        return Finding("disk", True, "the database server's own")
    folder = Path(store.url.database or ".").absolute().parent
    try:
        free = shutil.disk_usage(folder).free
    except OSError as error:
        return Finding(
            "disk", False, f"{folder}: {error.strerror}", "make the folder, writable for the service"
        )
    return Finding("disk", free >= LEAST_FREE, f"{free // 1_000_000} MB left at {folder}", "free some space")


def port(host: str, number: int) -> Finding:
    """Whether the service can listen where it is told to, or does already."""
    what, place = "port", f"{host}:{number}"
    try:
        socket.create_server((host, number), family=socket.AF_INET6 if ":" in host else socket.AF_INET).close()
    except OSError as error:
        if error.errno == errno.EADDRINUSE and _answers_as_we_do(host, number):
            return Finding(what, True, f"{place}: the service answers there already")
        do = "stop the program that listens there, or name another place in BELLCHECK_BIND"
        return Finding(what, False, f"{place}: {error.strerror}", do)
    return Finding(what, True, f"{place} is free")


def _answers_as_we_do(host: str, number: int) -> bool:
    asked = HTTPConnection(host, number, timeout=PORT_SECONDS)
    try:
        asked.request("GET", "/health", headers={"host": "localhost"})
        return asked.getresponse().read(200).startswith(b'{"ok":true,"wrong":[]')
    except (OSError, HTTPException):
        return False
    finally:
        asked.close()


async def channels(
    district: District, carriers: Carriers, test: Callable[[str], Parcel] | None = None
) -> AsyncIterator[Finding]:
    """Reach every channel, and the people's own addresses where a channel has none.

    With `test`, which makes a parcel for an address, one address of each webhook channel gets a message.
    """
    await carriers.fit(district.channels)
    try:
        for name in district.channels:
            channel = carriers.get(name)
            if isinstance(channel, str):
                yield Finding(f"channel {name}", False, channel, "mend the channel's settings")
                continue
            if test is not None and (first := _first(district, name)) is not None:
                yield await _tested(name, first[0], test(first[1]), channel)
            for who, address in _addresses(district, name):
                yield await _probed(name, who, address, channel)
    finally:
        await carriers.close()


def paces(district: District, today: date) -> Iterator[Finding]:
    """Whether the prompts of every bell of the coming week leave in time at the rate that a channel is given."""
    rated = {name: setup.options["rate"] for name, setup in district.channels.items() if "rate" in setup.options}
    dues = _prompts(district, today) if rated else {}
    for name, said in rated.items():
        rate = read_rate(str(said))
        found = rush(dues.get(name, ()), rate.count, timedelta(seconds=rate.seconds))
        if found is not None:
            yield _paced(name, str(said), found)


def _prompts(district: District, today: date) -> dict[str, list[datetime]]:
    """When prompts of the seven days from `today` are due, in local time, by each checker's first channel."""
    dues: dict[str, list[datetime]] = {}
    for school in district.schools.values():
        for on in (today + timedelta(days=n) for n in range(7)):
            for each in rounds(district, school_day(school, on)):
                ways = district.people[each.checker].channels
                if ways:
                    dues.setdefault(ways[0].channel, []).append(each.due.astimezone(zone(school.zone)))
    return dues


def _paced(name: str, rate: str, found: Rush) -> Finding:
    seconds = round(found.wait.total_seconds())
    said = f"{rate}; the last of {found.messages} due at {found.due:%Y-%m-%d %H:%M} leaves {seconds} s later"
    do = "raise the rate, spread the checks, or give people another channel first"
    return Finding(f"rate of {name}", found.wait <= TOLD_WITHIN, said, do)


def _first(district: District, channel: str) -> tuple[str, str] | None:
    """Whose address of a webhook channel gets the test: a coordinator's where one has it, else the first person's."""
    if district.channels[channel].kind != "webhook":
        return None
    people = sorted(district.people.values(), key=lambda p: all(r.role is not Role.COORDINATOR for r in p.roles))
    return next(((p.id, w.address) for p in people for w in p.channels if w.channel == channel), None)


def _addresses(district: District, channel: str) -> Iterator[tuple[str, str | None]]:
    """The channel itself for mail and for an address of its own; else its people's addresses."""
    setup = district.channels[channel]
    if setup.kind != "webhook" or setup.options.get("url") is not None:
        yield "", "" if setup.kind == "webhook" else None
        return
    ways = {w.address: p.id for p in district.people.values() for w in p.channels if w.channel == channel}
    for address in list(ways)[:ADDRESSES_TRIED]:
        yield ways[address], address


async def _tested(name: str, who: str, parcel: Parcel, channel: Channel) -> Finding:
    answered = await channel.deliver(parcel)
    good = answered.outcome == "accepted"
    found = "taken" if good else answered.detail or answered.outcome
    do = "check address and signing secret with whoever keeps the receiver"
    return Finding(f"test message by {name} to {who}", good, found, do)


async def _probed(name: str, who: str, address: str | None, channel: Channel) -> Finding:
    reached = await channel.probe(address)
    good = reached.outcome == "accepted"
    what = f"channel {name}" + (f" to {who}" if who else "")
    do = "check address, network, certificate, and where it signs in user and password"
    return Finding(what, good, reached.detail or reached.outcome, do)


async def monitor(district: District, carriers: Carriers) -> AsyncIterator[Finding]:
    """Reach the monitor that the heartbeat goes to, without a beat."""
    if district.heartbeat is None:
        return
    setup = way_of(district.heartbeat.channel)
    try:
        await carriers.fit({setup.name: setup})
        channel = carriers.get(setup.name)
        if isinstance(channel, str):
            yield Finding("heartbeat", False, channel, "mend the settings of the heartbeat")
            return
        reached = await channel.probe(None)
        do = "check the monitor's address, network and certificate"
        yield Finding("heartbeat", reached.outcome == "accepted", reached.detail or reached.outcome, do)
    finally:
        await carriers.close()


def mailboxes(district: District, secrets: Secrets) -> Iterator[Finding]:
    """Open every mailbox that answers are fetched from."""
    for setup in district.channels.values():
        if not has_mailbox(setup):
            continue
        what, do = f"mailbox of {setup.name}", "check host, port, folder, user and password of the mailbox"
        try:
            server = read_mailbox(setup, secrets)
            yield Finding(what, True, probe(server) if server is not None else "none", do)
        except (MailboxTrouble, ValueError) as wrong:
            yield Finding(what, False, str(wrong), do)


def clock_skew(server_date: datetime | None, now: datetime) -> Finding:
    """This machine's clock against what another web server says the time is (its `Date` header, RFC 9110 6.6.1)."""
    if server_date is None:
        return Finding("clock and receivers", True, "no receiver said what time it is")
    off = server_date - now
    good = abs(off) <= SAY_FROM + timedelta(seconds=1)
    return Finding(
        "clock and receivers",
        good,
        f"{off.total_seconds():+.0f} s apart",
        "set this machine's clock by a time server",
    )
