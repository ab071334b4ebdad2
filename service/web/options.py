"""What the web application is built with."""

import secrets as random
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime


def no_wake() -> None:
    """Nobody to wake: what arrives is read on the engine's next pass."""


def no_secret(_: str) -> str | None:
    """No secrets are held."""
    return None


def fresh() -> str:
    """A word that no page has carried before."""
    return random.token_urlsafe(9)


@dataclass(frozen=True)
class WebOptions:
    """`base_url` is what links begin with. `board_key` opens the board; None, for `try` only, leaves it open.

    `hosts` are the host names requests may come for, without port. `stamp` gives the present real time, for
    signatures and cookies; `secrets` holds what channels name; `wake` tells the engine that something came
    in; `nonce` makes the word that marks one rendering of a form; `ready` says what keeps the service from
    working, nothing when all is well; `notes` what is worth knowing though it works.
    """

    base_url: str
    board_key: str | None
    hosts: tuple[str, ...]
    stamp: Callable[[], datetime]
    secrets: Callable[[str], str | None] = no_secret
    wake: Callable[[], None] = no_wake
    nonce: Callable[[], str] = fresh
    ready: Callable[[], tuple[str, ...]] = field(default=tuple)
    notes: Callable[[], tuple[str, ...]] = field(default=tuple)

    @property
    def is_https(self) -> bool:
        """Whether people reach the service over TLS."""
        return self.base_url.startswith("https://")
