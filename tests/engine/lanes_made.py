"""A whole service over a made district whose people have addresses of their own on real loopback receivers."""

import base64
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from service.engine import commands, planner, running
from service.engine.clock import Clock
from service.settings import Settings
from service.wiring import Service, build
from tests.engine.engine_district import district

CHAT_SECRET = "whsec_" + base64.b64encode(b"s" * 32).decode()
BASE = "https://checks.school.example"


def settings(folder: Path, **more: Any) -> Settings:
    """Settings over an SQLite file in `folder`."""
    given = {"host": "127.0.0.1", "port": 0, "base_url": BASE, "board_key": "a board key"}
    return Settings(
        f"sqlite:///{folder / 'lanes.db'}",
        **{**given, "server_key": b"k" * 32, "named": {"CHAT": CHAT_SECRET}, **more},
    )


def documents(addresses: Mapping[str, str], **size: int) -> dict[str, dict[str, dict[str, Any]]]:
    """A made district in which `addresses` are people's own web addresses on the channel `chat`."""
    made = district(**size)
    chat = {"kind": "webhook", "signing secret": [{"env": "CHAT"}], "allow": ["127.0.0.1"]}
    made["channels"] = {"chat": chat}
    for person, address in addresses.items():
        made["people"][person]["channels"] = [{"chat": address}]
    return made


def service_over(
    folder: Path, clock: Clock | None, made: dict[str, dict[str, dict[str, Any]]], **more: Any
) -> Service:
    """A service with the district in force and its days planned."""
    service = build(settings(folder, **more), clock)
    commands.configure(service.desk, made, "C")
    planner.plan_all(service.desk)
    return service


def ask_everybody(service: Service) -> int:
    """Do what is due at the clock's instant: at 08:05 every round is asked."""
    return running.run_due(service.desk, service.desk.clock.now())
