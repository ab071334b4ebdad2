"""The demo's district: where its folder is, which day is played, who has a phone, and what stands in for secrets."""

import base64
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from pathlib import Path

from service.core.days import instant
from service.core.district import District
from service.core.zones import zone
from service.setup import Documents, load

FOLDER = "config_demo"
HOME = "hollow-road"
"""The school whose clock the page shows."""

DAY = date(2026, 11, 23)
"""A Monday on which all schools are open, nobody is away, and the first days of term are long past."""

BEGINS = time(7, 58)
"""Shortly before the first bell of the home school, and before any check of the district is due."""

CHAT = "chat"
SECRET = "BELLCHECK_DEMO_CHAT_SECRET"  # noqa: S105 - the name under which the secret is held
MONITOR = "BELLCHECK_DEMO_MONITOR"
MONITOR_PLACE = "monitor"
"""The last part of the address at which heartbeats are taken; no phone shows them."""

MAIL_HOST = "BELLCHECK_DEMO_MAIL_HOST"
MAIL_PORT = "BELLCHECK_DEMO_MAIL_PORT"
BY_NAME = "env:"


class CannotTry(Exception):
    """The demo cannot start; the message says why and what would help."""


@dataclass(frozen=True)
class Owner:
    """Somebody with a pocket phone: their id, their part in the morning, and what they might type."""

    person: str
    part: str
    example: str


OWNERS = (
    Owner("l-teal", "Teacher, room 12", "ok"),
    Owner("d-fenn", "Teacher, room 7", "1 câble gauche, 2 ok"),
    Owner("j-aske", "Aide, rooms 7 and B3", "1 ok, 2 ausente"),
    Owner("c-reed", "Coordinator", "mine 20"),
    Owner("a-vane", "Audiologist", "mine 30"),
)


@dataclass(frozen=True)
class Stage:
    """The district as its folder describes it."""

    district: District
    documents: Documents

    def begins(self) -> datetime:
        """The instant at which the day begins."""
        return instant(DAY, BEGINS, zone(self.district.schools[HOME].zone)).astimezone(UTC)

    def held(self, receivers: str, mail_port: int) -> dict[str, str]:
        """What the folder's names hold: addresses on this machine, and a signing secret made for this run."""
        names = {
            way.address.removeprefix(BY_NAME)
            for person in self.district.people.values()
            for way in person.channels
            if way.address.startswith(BY_NAME)
        }
        addresses = {name: f"{receivers}/{_slug(name)}" for name in sorted(names)}
        addresses[MONITOR] = f"{receivers}/{MONITOR_PLACE}"
        secret = "whsec_" + base64.b64encode(secrets.token_bytes(32)).decode()
        return {**addresses, SECRET: secret, MAIL_HOST: "127.0.0.1", MAIL_PORT: str(mail_port)}

    def address(self, person: str, held: Mapping[str, str]) -> str:
        """A person's own address on the chat channel."""
        way = next(w for w in self.district.people[person].channels if w.channel == CHAT)
        return held[way.address.removeprefix(BY_NAME)]

    def owners_by_address(self, held: Mapping[str, str]) -> dict[str, str]:
        """Whose every address is: the last part of a web address, or a mail address in small letters."""
        return {
            held[w.address.removeprefix(BY_NAME)].rpartition("/")[2]
            if w.address.startswith(BY_NAME)
            else w.address.casefold(): person.id
            for person in self.district.people.values()
            for w in person.channels
        }


def _slug(name: str) -> str:
    return name.removeprefix("BELLCHECK_DEMO_").lower().replace("_", "-")


def read_stage(folder: Path | None = None) -> Stage:
    """The demo's district. Raises `CannotTry` where its folder is missing or not as it should be."""
    at = folder or Path(__file__).resolve().parents[2] / FOLDER
    if not at.is_dir():
        raise CannotTry(f"The folder {FOLDER} is not beside the program. Run this from a whole checkout.")
    loaded = load(at, {})
    if loaded.district is None:
        raise CannotTry("\n".join(str(problem) for problem in loaded.errors))
    return Stage(loaded.district, loaded.documents)
