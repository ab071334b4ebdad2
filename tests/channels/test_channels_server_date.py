"""What time a receiver says it is."""

import asyncio
from datetime import UTC, datetime

from service.channels.addresses import AddressGuard
from service.channels.server_date import server_date
from tests.channels.channel_receivers import Receiver, answers


def test_a_receiver_says_what_time_it_is() -> None:
    async def ask(*allowed: str, **headers: str) -> datetime | None:
        async with Receiver(answers("200 OK", **headers)) as receiver:
            found = await server_date(receiver.url, AddressGuard(), allowed)
            assert all(request.line.startswith("HEAD / ") for request in receiver.requests)
            return found

    date = "Mon, 05 Oct 2026 13:05:00 GMT"
    assert asyncio.run(ask("127.0.0.1", Date=date)) == datetime(2026, 10, 5, 13, 5, tzinfo=UTC)
    assert asyncio.run(ask("127.0.0.1", Date="yesterday")) is None
    assert asyncio.run(ask(Date=date)) is None
