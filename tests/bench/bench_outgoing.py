"""How fast messages leave, beside what this machine can do at all in the same run.

Run from the repository root: `python tests/bench/bench_outgoing.py [--messages 2000]`. Receivers run in a process
of their own on loopback. A ratio is ours divided by the limit beside it; figures move from machine to machine,
ratios less so.
"""

import argparse
import asyncio
import multiprocessing
import smtplib
import statistics
import sys
import time
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from service.channels.addresses import AddressGuard
from service.channels.factory import build
from service.channels.letter import Sender, read_address, write
from service.channels.protocol import Channel, Parcel
from service.core.district import ChannelSetup

SECRET = "whsec_" + "QUJD" * 8
NOW = datetime(2026, 10, 5, 13, 5, tzinfo=UTC)
ANSWER = b"HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\n{}"
RUNS = 3


def parcel(number: int, address: str) -> Parcel:
    """A message of ordinary length."""
    return Parcel(
        id=f"msg-{number:012d}", key=f"prompt {number}", to_address=address, subject="2 checks by 08:20",
        lock_line="2 checks by 08:20", text="1 Fern, 2 Otter: do their devices work? " * 4, html=None,
        link="https://checks.school.example/r/abc", purpose="prompt", thread=None, in_reply_to=None,
        reply_token=None, at=NOW, give_up_at=NOW + timedelta(minutes=15),
    )  # fmt: skip


# Receivers


async def _answer_http(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, wait: float) -> None:
    try:
        while True:
            head = await reader.readuntil(b"\r\n\r\n")
            length = int(head.lower().split(b"content-length: ")[1].split(b"\r\n")[0])
            await reader.readexactly(length)
            if wait:
                await asyncio.sleep(wait)
            writer.write(ANSWER)
    except (asyncio.IncompleteReadError, ConnectionError):
        writer.close()


async def _answer_mail(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    try:
        writer.write(b"220 mail.school.example\r\n")
        while line := await reader.readline():
            if line.upper().startswith(b"DATA"):
                writer.write(b"354 go on\r\n")
                await reader.readuntil(b"\r\n.\r\n")
            writer.write(b"221 bye\r\n" if line.upper().startswith(b"QUIT") else b"250 OK\r\n")
    except (asyncio.IncompleteReadError, ConnectionError):
        writer.close()


async def _receive(tell: "multiprocessing.Queue[list[int]]") -> None:
    servers = [
        await asyncio.start_server(lambda r, w: _answer_http(r, w, 0.0), "127.0.0.1", 0, backlog=512),
        await asyncio.start_server(lambda r, w: _answer_http(r, w, 0.05), "127.0.0.1", 0, backlog=512),
        await asyncio.start_server(_answer_mail, "127.0.0.1", 0),
    ]
    tell.put([server.sockets[0].getsockname()[1] for server in servers])
    await asyncio.sleep(3600)


def receivers(tell: "multiprocessing.Queue[list[int]]") -> None:
    """Receivers at once, after 50 ms, and of mail, until the process is ended."""
    asyncio.run(_receive(tell))


# What is measured


async def in_lanes(count: int, lanes: int, send: Callable[[int], Awaitable[object]]) -> float:
    """Messages a second when `lanes` loops share `count` sends."""
    left = iter(range(count))

    async def lane() -> None:
        for number in left:
            await send(number)

    begun = time.perf_counter()
    await asyncio.gather(*(lane() for _ in range(lanes)))
    return count / (time.perf_counter() - begun)


async def raw(port: int, count: int, lanes: int) -> float:
    """The limit: the same bytes over bare streams, one connection to a lane."""
    body = b"x" * 600
    request = b"POST /hook HTTP/1.1\r\nHost: x\r\nContent-Length: %d\r\n\r\n" % len(body) + body
    connections = [await asyncio.open_connection("127.0.0.1", port) for _ in range(lanes)]

    async def send(_: int) -> None:
        reader, writer = connections.pop()
        writer.write(request)
        await reader.readexactly(len(ANSWER))
        connections.append((reader, writer))

    rate = await in_lanes(count, lanes, send)
    for _, writer in connections:
        writer.close()
    return rate


def webhook(port: int) -> Channel:
    """Our webhook channel to the receiver."""
    options = {
        "url": f"http://127.0.0.1:{port}/hook", "allow": ["127.0.0.1"], "signing secret": {"env": "SECRET"},
    }  # fmt: skip
    setup = ChannelSetup("chat", "webhook", options=options)
    return build(setup, {"SECRET": SECRET}.get, AddressGuard(), stamp=lambda: datetime.now(UTC))


async def ours(make: Callable[[int], Channel], port: int, count: int, lanes: int, address: str) -> float:
    """Our channel, every delivery judged to be accepted."""
    channel = make(port)

    async def send(number: int) -> None:
        handover = await channel.deliver(parcel(number, address))
        if handover.outcome != "accepted":
            raise RuntimeError(f"a delivery failed: {handover}")

    rate = await in_lanes(count, lanes, send)
    await channel.close()
    return rate


def mail(port: int) -> Channel:
    """Our mail channel to the receiver."""
    options = {"host": "127.0.0.1", "port": port, "starttls": False, "from": "checks@school.example"}
    setup = ChannelSetup("mail", "email", options=options)
    return build(setup, {}.get, AddressGuard(), stamp=lambda: datetime.now(UTC))


def bare_mail(port: int, count: int) -> float:
    """The limit: ready bytes over one kept connection."""
    own = read_address("checks@school.example")
    letter = write(parcel(1, ""), Sender(own, own.domain, own), "r-moss@hollow-road.example", NOW)
    with smtplib.SMTP("127.0.0.1", port, local_hostname="school.example") as smtp:
        begun = time.perf_counter()
        for _ in range(count):
            smtp.mail(letter.from_address)
            smtp.rcpt(letter.to_address)
            smtp.data(letter.content)
        return count / (time.perf_counter() - begun)


def beside(name: str, limit: Callable[[], float], own: Callable[[], float]) -> None:
    """Measure both in turn, some times, and print the medians and their ratio."""
    pairs = [(limit(), own()) for _ in range(RUNS)]
    least, most = (statistics.median(column) for column in zip(*pairs, strict=True))
    print(f"{name:<44}{least:>10,.0f}/s{most:>10,.0f}/s{most / least:>8.2f}")


def main() -> None:
    """Print every figure with the limit beside it."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--messages", type=int, default=2000)
    count = arguments.parse_args().messages
    tell: multiprocessing.Queue[list[int]] = multiprocessing.Queue()
    process = multiprocessing.Process(target=receivers, args=(tell,), daemon=True)
    process.start()
    at_once, slow, letters = tell.get()
    print(f"{'':<44}{'limit':>12}{'ours':>12}{'ratio':>8}")
    for lanes in (1, 8, 32, 100):
        beside(
            f"webhook, receiver at once, {lanes} in flight",
            lambda lanes=lanes: asyncio.run(raw(at_once, count, lanes)),
            lambda lanes=lanes: asyncio.run(ours(webhook, at_once, count, lanes, "l-teal")),
        )
    for lanes in (8, 32):
        beside(
            f"webhook, receiver takes 50 ms, {lanes} in flight",
            lambda lanes=lanes: asyncio.run(raw(slow, min(count, lanes * 20), lanes)),
            lambda lanes=lanes: asyncio.run(ours(webhook, slow, min(count, lanes * 20), lanes, "l-teal")),
        )
    beside(
        "mail, one kept connection",
        lambda: bare_mail(letters, count),
        lambda: asyncio.run(ours(mail, letters, count, 4, "r-moss@hollow-road.example")),
    )
    process.terminate()


if __name__ == "__main__":
    main()
