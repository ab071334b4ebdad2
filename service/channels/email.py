"""E-mail out: one worker thread per channel, one connection kept open (two are hardly faster, by measure)."""

import asyncio
import ssl
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

from service.channels.letter import Sender, write
from service.channels.line import Line, MailServer
from service.channels.options import reveal
from service.channels.protocol import Handover, Parcel, Secrets, Stamp


class EmailChannel:
    """Sends parcels by SMTP. `limit` bounds an attempt in real time, without the wait for its turn."""

    at_once = 1

    def __init__(
        self,
        server: MailServer,
        sender: Sender,
        secrets: Secrets,
        *,
        stamp: Stamp,
        limit: timedelta,
        tls: ssl.SSLContext,
    ) -> None:
        self._server = server
        self._sender = sender
        self._secrets = secrets
        self._stamp = stamp
        self._limit = limit.total_seconds()
        self._tls = tls
        self._turn = asyncio.Lock()
        self._line, self._thread = self._begin()

    async def deliver(self, parcel: Parcel) -> Handover:
        """Send the parcel once."""
        try:
            address = reveal(parcel.to_address, self._secrets)
            letter = write(parcel, self._sender, address, self._stamp())
        except ValueError as wrong:
            return Handover("refused", str(wrong), for_good=True)
        return await self._run(lambda line: line.send(letter))

    async def probe(self, to_address: str | None = None) -> Handover:
        """Reach the mail server and sign in; which address is meant makes no difference to it."""
        del to_address
        return await self._run(Line.probe)

    async def close(self) -> None:
        """Take leave of the mail server."""
        await self._run(_take_leave)
        self._thread.shutdown(wait=False)

    def _begin(self) -> tuple[Line, ThreadPoolExecutor]:
        line = Line(self._server, self._limit, self._tls)
        return line, ThreadPoolExecutor(max_workers=1, thread_name_prefix="mail")

    async def _run(self, work: Callable[[Line], Handover]) -> Handover:
        async with self._turn:
            done = asyncio.get_running_loop().run_in_executor(self._thread, work, self._line)
            try:
                async with asyncio.timeout(self._limit):
                    return await asyncio.shield(done)
            except TimeoutError:
                self._abandon()
                return Handover("timed_out", "no answer from the mail server in time")
            except asyncio.CancelledError:
                self._abandon()
                raise

    def _abandon(self) -> None:
        """Leave the stuck thread to its end and go on with a new one; a thread cannot be stopped."""
        self._line.cut()
        self._thread.shutdown(wait=False)
        self._line, self._thread = self._begin()


def _take_leave(line: Line) -> Handover:
    line.quit()
    return Handover("accepted", "left")
