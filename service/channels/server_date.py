"""What time a receiver says it is: the `Date` header of an answer to HEAD (RFC 9110, 6.6.1)."""

import asyncio
import ssl
from collections.abc import Collection
from contextlib import suppress
from datetime import datetime
from email.utils import parsedate_to_datetime

import h11

from service.channels.addresses import AddressGuard, AddressRefusedError, read_target
from service.channels.lane import Lane, LostError, Network, NotReachedError

SECONDS = 10.0


async def server_date(
    address: str, guard: AddressGuard, allowed: Collection[str] = (), tls: ssl.SSLContext | None = None
) -> datetime | None:
    """The receiver's time, by its whole second; None where it does not say or cannot be reached.

    The front page is asked for, so that nothing is delivered. Raises ValueError for what is no web address.
    """
    target = read_target(address)
    lane = Lane(Network(guard, allowed, tls or ssl.create_default_context(), SECONDS))
    try:
        async with asyncio.timeout(SECONDS):
            line = await lane.reach(target)
            asked = h11.Request(method="HEAD", target="/", headers=[("Host", target.host)])
            parts = (line.http.send(part) or b"" for part in (asked, h11.EndOfMessage()))
            line.writer.write(b"".join(parts))
            await line.writer.drain()
            while not isinstance(event := line.http.next_event(), h11.Response):
                if event is not h11.NEED_DATA:
                    return None
                line.http.receive_data(await line.reader.read(8192))
            return _date(dict(event.headers).get(b"date", b"").decode("latin-1"))
    except (OSError, TimeoutError, AddressRefusedError, NotReachedError, LostError, h11.ProtocolError):
        return None
    finally:
        await lane.aclose()


def _date(text: str) -> datetime | None:
    with suppress(ValueError):
        found = parsedate_to_datetime(text)
        return found if found.tzinfo is not None else None
    return None
