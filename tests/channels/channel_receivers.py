"""Real HTTP receivers on loopback that behave as a test says, well or badly."""

import asyncio
import ssl
import subprocess
from collections.abc import Awaitable, Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Self


@dataclass(frozen=True)
class Request:
    """One request as it arrived; header names in lower case."""

    line: str
    headers: dict[str, str]
    body: bytes


Behaviour = Callable[[Request, asyncio.StreamWriter], Awaitable[None]]


def answers(status: str, body: bytes = b"", **headers: str) -> Behaviour:
    """A receiver that answers every request alike."""

    async def behave(_: Request, writer: asyncio.StreamWriter) -> None:
        lines = [f"HTTP/1.1 {status}", f"Content-Length: {len(body)}"]
        lines += [f"{name.replace('_', '-')}: {value}" for name, value in headers.items()]
        writer.write("\r\n".join([*lines, "", ""]).encode() + body)
        await writer.drain()

    return behave


def says(raw: bytes, *, then_close: bool = False) -> Behaviour:
    """A receiver that writes these bytes, whatever they are."""

    async def behave(_: Request, writer: asyncio.StreamWriter) -> None:
        writer.write(raw)
        await writer.drain()
        if then_close:
            writer.close()

    return behave


def drips(raw: bytes, every: float) -> Behaviour:
    """A receiver that writes one byte at a time."""

    async def behave(_: Request, writer: asyncio.StreamWriter) -> None:
        for byte in raw:
            writer.write(bytes([byte]))
            await writer.drain()
            await asyncio.sleep(every)

    return behave


async def hangs(_: Request, writer: asyncio.StreamWriter) -> None:
    """A receiver that reads and never answers."""
    await asyncio.sleep(60)


class Receiver:
    """An HTTP server on loopback. `requests` are those received, `connections` how often it was connected to."""

    def __init__(self, behave: Behaviour, tls: ssl.SSLContext | None = None) -> None:
        self.behave = behave
        self.requests: list[Request] = []
        self.connections = 0
        self.open = 0
        self._tls = tls

    async def __aenter__(self) -> Self:
        self._tasks: set[asyncio.Task] = set()
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", 0, ssl=self._tls)
        self.port = self._server.sockets[0].getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}/hook"
        return self

    async def __aexit__(self, *_: object) -> None:
        self._server.close()
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._tasks.add(asyncio.current_task())
        self.connections += 1
        self.open += 1
        with suppress(ConnectionError, asyncio.IncompleteReadError, asyncio.CancelledError):
            while not writer.is_closing():
                request = await read_request(reader)
                self.requests.append(request)
                watch = asyncio.ensure_future(self.behave(request, writer))
                self._tasks.add(watch)
                await watch
        self.open -= 1
        writer.close()


async def read_request(reader: asyncio.StreamReader) -> Request:
    head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1").split("\r\n")
    pairs = (line.split(": ", 1) for line in head[1:] if line)
    headers = {name.lower(): value for name, value in pairs}
    body = await reader.readexactly(int(headers.get("content-length", "0")))
    return Request(head[0], headers, body)


@dataclass(frozen=True)
class Authority:
    """A certificate authority made for a test, with a server certificate for the names it was asked for."""

    folder: Path

    @classmethod
    def make(cls, folder: Path, *names: str) -> Self:
        """An authority and a certificate for `names`, by the openssl command."""
        alternatives = ",".join(f"DNS:{name}" for name in names)
        _openssl(
            folder, "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes",
            "-keyout", "ca.key", "-out", "ca.pem", "-days", "2", "-subj", "/CN=test authority",
            "-addext", "keyUsage=critical,keyCertSign",
        )  # fmt: skip
        _openssl(
            folder, "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes",
            "-CA", "ca.pem", "-CAkey", "ca.key", "-keyout", "server.key", "-out", "server.pem",
            "-days", "2", "-subj", "/CN=test server", "-addext", f"subjectAltName={alternatives}",
            "-addext", "basicConstraints=critical,CA:FALSE",
        )  # fmt: skip
        return cls(folder)

    def serving(self) -> ssl.SSLContext:
        """The context of a server with the certificate."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(self.folder / "server.pem", self.folder / "server.key")
        return context

    def trusting(self) -> ssl.SSLContext:
        """The context of a client that trusts this authority and no other."""
        return ssl.create_default_context(cafile=str(self.folder / "ca.pem"))


def _openssl(folder: Path, *arguments: str) -> None:
    subprocess.run(["openssl", *arguments], cwd=folder, check=True, capture_output=True)
