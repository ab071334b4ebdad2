"""What answers over HTTP in a process of its own: our whole service, and the barest application that does as much.

Both work on an SQLite file that syncs every commit, and are served by the same web server.
"""

import asyncio
import socket
import sqlite3
from datetime import datetime, timedelta
from multiprocessing.connection import Connection
from pathlib import Path
from threading import Lock
from typing import Any

import uvicorn
from fastapi import Body, FastAPI
from sqlalchemy import Engine, create_engine, event, insert, update

from service import serving
from service.engine.clock import FastClock
from service.store.tables import InboxRow, OutboxRow, table_of
from service.wiring import build
from tests.engine.lanes_made import settings


def serve_ours(folder: str, start: datetime, tell: Connection) -> None:
    """The whole service over the database in `folder`, its clock at `start`; nothing is sent."""
    service = build(settings(Path(folder)), FastClock(start, 1.0))
    service.lanes.hold(True)

    async def run() -> None:
        with socket.create_server(("127.0.0.1", 0), backlog=256) as door:
            stop = asyncio.Event()
            await serving.run(
                service, serving.options(service), door, stop, lambda: tell.send(door.getsockname()[1])
            )

    asyncio.run(run())


def serve_bare(folder: str, start: datetime, tell: Connection) -> None:
    """An application that stores a message in one bare commit, and its answer in another."""
    with socket.create_server(("127.0.0.1", 0), backlog=256) as door:
        tell.send(door.getsockname()[1])
        config = uvicorn.Config(bare_app(Path(folder), start), access_log=False, log_config=None)
        uvicorn.Server(config).run(sockets=[door])


def bare_app(folder: Path, at: datetime) -> FastAPI:
    """Two Core commits a request, the rows those that our own service writes.

    Threads take turns by a lock, which serves 32 at once better than the database's own waiting.
    """
    engine, turn = bare_engine(folder), Lock()
    inbox, outbox = table_of(InboxRow), table_of(OutboxRow)
    app = FastAPI()

    @app.post("/in/chat", status_code=202)
    def take(message: dict[str, Any] = Body()) -> dict[str, str]:  # noqa: B008 - the framework's own way
        id, person = message["id"], message["from"]
        received = InboxRow(
            id=id, channel="chat", external_id=id, person=person, address=person, text=message["text"],
            received_at=at, proven=True,
        )  # fmt: skip
        with turn, engine.begin() as connection:
            connection.execute(insert(inbox).values(received.model_dump()))
        answer = OutboxRow(
            id=f"a-{id}", key=f"a-{id}", person=person, role="checker", channel="chat", address=person,
            purpose="answer", subject="recorded", lock_line="recorded", text="Recorded: 1 ok, 2 ok. " * 6,
            in_reply_to=id, body={"items": [1, 2, 3]}, created_at=at, next_at=at,
            give_up_at=at + timedelta(hours=2),
        )  # fmt: skip
        with turn, engine.begin() as connection:
            connection.execute(update(inbox).where(inbox.c.id == id).values(state="read"))
            connection.execute(insert(outbox).values(answer.model_dump()))
        return {"id": id}

    return app


def bare_engine(folder: Path) -> Engine:
    """Connections that sync every commit and write one after the other."""
    engine = create_engine(
        f"sqlite:///{folder / 'lanes.db'}", connect_args={"timeout": 30, "check_same_thread": False}
    )

    def prepare(connection: sqlite3.Connection, _record: Any) -> None:
        connection.isolation_level = None
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA synchronous=FULL")

    event.listen(engine, "connect", prepare)
    event.listen(engine, "begin", lambda c: c.exec_driver_sql("BEGIN IMMEDIATE"))
    return engine
