"""What the process is told by its environment: where the database is, its keys, where it listens.

`BELLCHECK_DB` is a database address (default: an SQLite file in the user's data folder), `BELLCHECK_KEY` the
server key, `BELLCHECK_BOARD_KEY` what opens the board, `BELLCHECK_BIND` host and port, `BELLCHECK_BASE_URL` the
address that links begin with, `BELLCHECK_PROXIES` the proxies that are believed about whom they ask for,
`BELLCHECK_LOG` whether the log is `text` or `json`. Keys and channels' secrets may stand in the file that
`BELLCHECK_SECRETS` names.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from ipaddress import ip_network
from pathlib import Path
from urllib.parse import urlsplit

from service.setup.secrets import read_secrets

KEY_BYTES = 32
"""The least length of the server key."""

BIND = "127.0.0.1:8420"
PROXIES = "127.0.0.1,::1"
LOGS = ("text", "json")
MAKE_A_KEY = "python3 -c 'import secrets; print(secrets.token_hex(32))'"


class BadSettings(Exception):
    """The environment does not say what is needed; the message says what would be right."""


@dataclass(frozen=True)
class Settings:
    """The environment, judged. `named` are all secrets by name; it and the keys stay out of `repr`."""

    database: str
    host: str
    port: int
    base_url: str
    proxies: tuple[str, ...] = ()
    log: str = "text"
    board_key: str | None = field(default=None, repr=False)
    server_key: bytes | None = field(default=None, repr=False)
    named: Mapping[str, str] = field(default_factory=dict, repr=False)

    @property
    def key(self) -> bytes:
        """The server key. Raises `BadSettings` where there is none."""
        if self.server_key is None:
            raise BadSettings(
                f"BELLCHECK_KEY is not set. Make one with {MAKE_A_KEY} and keep it in the environment "
                "or in the file that BELLCHECK_SECRETS names; it signs links and the record."
            )
        return self.server_key


def read_settings(environ: Mapping[str, str], folder: Path | None = None) -> Settings:
    """The settings in `environ`. Raises `BadSettings`, and `UnreadableError` for a secrets file that cannot be
    read or lies inside the configuration `folder`.
    """
    held = read_secrets(environ, folder)
    host, port = _bind(held.get("BELLCHECK_BIND") or BIND)
    shown = f"[{host}]" if ":" in host else host
    return Settings(
        database=held.get("BELLCHECK_DB") or _database(environ),
        host=host,
        port=port,
        base_url=_base(held.get("BELLCHECK_BASE_URL") or f"http://{shown}:{port}"),
        proxies=_proxies(held.get("BELLCHECK_PROXIES") or PROXIES),
        log=_log(held.get("BELLCHECK_LOG") or LOGS[0]),
        board_key=held.get("BELLCHECK_BOARD_KEY") or None,
        server_key=_key(held.get("BELLCHECK_KEY")),
        named=held,
    )


def _database(environ: Mapping[str, str]) -> str:
    home = environ.get("XDG_DATA_HOME") or str(Path(environ.get("HOME", ".")) / ".local" / "share")
    return f"sqlite:///{Path(home) / 'bellcheck' / 'bellcheck.db'}"


def _bind(text: str) -> tuple[str, int]:
    host, mark, port = text.rpartition(":")
    if not mark or not host or not port.isdecimal() or int(port) > 65535:
        raise BadSettings(f"BELLCHECK_BIND is {text!r}; it would be right as {BIND}")
    return host.strip("[]"), int(port)


def _base(text: str) -> str:
    parts = urlsplit(text)
    if parts.scheme not in ("http", "https") or not parts.hostname or parts.query or parts.fragment:
        raise BadSettings(
            f"BELLCHECK_BASE_URL is {text!r}; it would be right as https://checks.school.example"
        )
    return text.rstrip("/")


def _proxies(text: str) -> tuple[str, ...]:
    if text.strip() == "none":
        return ()
    named = tuple(part.strip() for part in text.split(","))
    try:
        for each in named:
            ip_network(each)
    except ValueError:
        raise BadSettings(
            f"BELLCHECK_PROXIES is {text!r}; it would be right as {PROXIES}, 172.18.0.0/16, or none"
        ) from None
    return named


def _log(text: str) -> str:
    if text not in LOGS:
        raise BadSettings(f"BELLCHECK_LOG is {text!r}; it would be right as {' or '.join(LOGS)}")
    return text


def _key(text: str | None) -> bytes | None:
    if not text:
        return None
    key = text.encode()
    if len(key) < KEY_BYTES:
        raise BadSettings(
            f"BELLCHECK_KEY is shorter than {KEY_BYTES} bytes. Make one with {MAKE_A_KEY}; "
            "changing it later closes every link that is out."
        )
    return key
