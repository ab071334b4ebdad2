"""Everything worth a look before serving: each finding says what was found and what to do."""

import shutil
from collections.abc import AsyncIterator, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from service.channels.protocol import Channel
from service.core.district import District
from service.core.zones import version
from service.engine.carriers import Carriers
from service.engine.server_time import SAY_FROM, ServerTime
from service.setup.judge import OLDEST_ZONES
from service.setup.secrets import secret_names
from service.store.base import Store
from service.store.errors import StoreError

LEAST_FREE = 500_000_000
"""Bytes left on the disk; a district of 40 schools writes some megabytes a day (own estimate)."""

ADDRESSES_TRIED = 20
"""At most so many people's own addresses are tried for each channel."""


@dataclass(frozen=True)
class Finding:
    """One thing looked at. `do` says what to do where it is not `good`."""

    what: str
    good: bool
    found: str
    do: str = ""


def zone_data() -> Finding:
    """Whether the zone data is young enough."""
    edition = version()
    return Finding(
        "zone data", edition >= OLDEST_ZONES, edition, f"install the package tzdata of {OLDEST_ZONES}"
    )


def keys(server_key: bytes | None, board_key: str | None, base_url: str) -> Iterator[Finding]:
    """The service's own keys, and whether links are safe on their way."""
    there = server_key is not None
    yield Finding("server key", there, "set" if there else "not set", "set BELLCHECK_KEY (32 bytes or more)")
    there = board_key is not None
    yield Finding("board key", there, "set" if there else "not set", "set BELLCHECK_BOARD_KEY")
    local = any(host in base_url for host in ("//127.0.0.1", "//localhost", "//[::1]"))
    do = "put a proxy with TLS before the service and set BELLCHECK_BASE_URL to its https address"
    yield Finding(
        "links", base_url.startswith("https://"), base_url + (" (this machine only)" if local else ""), do
    )


def secrets_held(documents: Mapping[str, object], held: Mapping[str, str]) -> Iterator[Finding]:
    """Every secret that the folder names; what it holds is never shown."""
    for name in secret_names(documents):
        there = bool(held.get(name, "").strip())
        do = f"set {name} in the environment or in the file that BELLCHECK_SECRETS names"
        yield Finding(f"secret {name}", there, "set" if there else "not set", do)


def database(store: Store) -> Iterator[Finding]:
    """Whether the database answers, is of this version, and keeps what it acknowledged."""
    try:
        store.check_version()
        with store.reading() as tx:
            asked = "PRAGMA synchronous" if store.dialect == "sqlite" else "SHOW synchronous_commit"
            setting = str(tx.connection().exec_driver_sql(asked).scalar_one())
        off = ServerTime(store).measure()
    except StoreError as error:
        yield Finding(
            "database", False, str(error), "run `bellcheck apply DIR` once, or mend what is said here"
        )
        return
    yield Finding("database", True, f"{store.place}, of this version")
    safe = setting in ("2", "3") if store.dialect == "sqlite" else setting != "off"
    yield Finding(
        "durability",
        safe,
        "what is acknowledged is on the disk" if safe else "a power cut may lose answers",
        "set synchronous_commit to on",
    )
    do = "set this machine's clock by a time server"
    yield Finding("clock and database", abs(off) <= SAY_FROM, f"{off.total_seconds():+.1f} s apart", do)


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


async def channels(district: District, carriers: Carriers) -> AsyncIterator[Finding]:
    """Reach every channel, and the people's own addresses where a channel has none, without a message."""
    await carriers.fit(district.channels)
    try:
        for name in district.channels:
            channel = carriers.get(name)
            if isinstance(channel, str):
                yield Finding(f"channel {name}", False, channel, "mend the channel's settings")
                continue
            for who, address in _addresses(district, name):
                yield await _probed(name, who, address, channel)
    finally:
        await carriers.close()


def _addresses(district: District, channel: str) -> Iterator[tuple[str, str | None]]:
    """The channel itself for mail and for an address of its own; else its people's addresses."""
    setup = district.channels[channel]
    if setup.kind != "webhook" or setup.options.get("url") is not None:
        yield "", "" if setup.kind == "webhook" else None
        return
    ways = {w.address: p.id for p in district.people.values() for w in p.channels if w.channel == channel}
    for address in list(ways)[:ADDRESSES_TRIED]:
        yield ways[address], address


async def _probed(name: str, who: str, address: str | None, channel: Channel) -> Finding:
    reached = await channel.probe(address)
    good = reached.outcome == "accepted"
    what = f"channel {name}" + (f" to {who}" if who else "")
    return Finding(what, good, reached.detail or reached.outcome, "check address, network and certificate")


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
