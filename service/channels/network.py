"""The connections behind a webhook: made to checked addresses only, one to a lane."""

import ssl
from collections.abc import Awaitable, Callable, Collection, Iterable, Sequence
from contextlib import suppress
from functools import partial

import httpcore

from service.channels.addresses import AddressGuard

_KEPT_IDLE_SECONDS = 3.0


class GuardedNetwork(httpcore.AsyncNetworkBackend):
    """Connects by name only to addresses that the guard has let through; TLS still verifies the name.

    Remembers the connection it opened last: an attempt that is cut off in the middle of agreeing on TLS
    would otherwise leave it open.
    """

    def __init__(
        self,
        guard: AddressGuard,
        allowed: Collection[str],
        limit: float,
        network: httpcore.AsyncNetworkBackend | None = None,
    ) -> None:
        self._guard = guard
        self._allowed = allowed
        self._limit = limit
        self._network = network or httpcore.AnyIOBackend()
        self._opened: httpcore.AsyncNetworkStream | None = None

    async def connect_tcp(
        self,
        host: str,
        port: int,
        timeout: float | None = None,
        local_address: str | None = None,
        socket_options: Iterable[httpcore.SOCKET_OPTION] | None = None,
    ) -> httpcore.AsyncNetworkStream:
        """Connect to the first address that answers; together they have half the attempt's time."""
        try:
            addresses = await self._guard.addresses(host, port, self._allowed)
        except OSError:
            raise httpcore.ConnectError("name not found") from None
        share = min(self._limit / 2 / len(addresses), timeout or self._limit)
        dial = partial(
            self._network.connect_tcp,
            port=port,
            timeout=share,
            local_address=local_address,
            socket_options=socket_options,
        )
        self._opened = await _first_that_answers(addresses, dial)
        return self._opened

    async def aclose(self) -> None:
        """Close the connection opened last, if it is still open."""
        if self._opened is not None:
            await self._opened.aclose()


async def _first_that_answers(
    addresses: Sequence[str], dial: Callable[[str], Awaitable[httpcore.AsyncNetworkStream]]
) -> httpcore.AsyncNetworkStream:
    for address in addresses[:-1]:
        with suppress(httpcore.ConnectError, httpcore.ConnectTimeout):
            return await dial(address)
    return await dial(addresses[-1])


class Lane:
    """One connection at most, kept for a while for the next message."""

    def __init__(self, network: GuardedNetwork, tls: ssl.SSLContext) -> None:
        self.network = network
        self._pool = httpcore.AsyncConnectionPool(
            ssl_context=tls,
            max_connections=1,
            max_keepalive_connections=1,
            keepalive_expiry=_KEPT_IDLE_SECONDS,
            network_backend=network,
        )

    async def post(self, request: httpcore.Request) -> httpcore.Response:
        """The head of the answer; its body is still to be read."""
        return await self._pool.handle_async_request(request)

    async def aclose(self) -> None:
        """Close the connection, in whatever state it is."""
        await self._pool.aclose()
        await self.network.aclose()
