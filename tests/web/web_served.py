"""An application on a port of its own, served as `serve` does, and raw bytes sent to it."""

import socket
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import uvicorn
from fastapi import FastAPI

from service.web.connections import LIMITS, Limits, server_config


@contextmanager
def served(app: FastAPI, limits: Limits = LIMITS, proxies: Sequence[str] = ()) -> Iterator[int]:
    """The port of the application while the block runs."""
    with socket.create_server(("127.0.0.1", 0), backlog=limits.backlog) as door:
        server = uvicorn.Server(server_config(app, proxies, limits))
        thread = threading.Thread(target=server.run, args=([door],), daemon=True)
        thread.start()
        end = time.monotonic() + 10
        while not server.started and time.monotonic() < end:
            time.sleep(0.01)
        try:
            yield int(door.getsockname()[1])
        finally:
            server.should_exit = True
            thread.join(10)


def opened(port: int, first: bytes = b"") -> socket.socket:
    """A connection on which `first` was sent."""
    made = socket.create_connection(("127.0.0.1", port), timeout=10)
    made.sendall(first)
    return made


def to_the_end(connection: socket.socket) -> bytes:
    """All that comes until the other side ends the connection; nothing where it was cut."""
    got = b""
    try:
        while piece := connection.recv(65536):
            got += piece
    except ConnectionResetError:
        return got
    return got


def raw(port: int, sent: bytes) -> bytes:
    """What is answered to these bytes, until the server ends the connection."""
    with opened(port, sent) as connection:
        return to_the_end(connection)
