"""The board's cookie: signed, expiring, and the source of the token that every form of it carries."""

import hmac
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256

LASTS = timedelta(hours=12)
"""How long a key once given opens the board: a long school day."""


@dataclass(frozen=True)
class Sessions:
    """Makes and judges cookies with a key of their own. `stamp` is real time."""

    key: bytes
    stamp: Callable[[], datetime]

    def issue(self, word: str) -> str:
        """A new cookie; `word` makes it one of its kind."""
        expires = int((self.stamp() + LASTS).timestamp())
        return f"{expires}.{word}.{self._sign('cookie', f'{expires}.{word}')}"

    def is_valid(self, cookie: str) -> bool:
        """Whether we made the cookie and its time is not over."""
        body, _, signature = cookie.rpartition(".")
        expires = body.partition(".")[0]
        if not expires.isdecimal() or not _same(signature, self._sign("cookie", body)):
            return False
        return int(expires) > self.stamp().timestamp()

    def form_token(self, cookie: str) -> str:
        """The token that forms shown under this cookie carry."""
        return self._sign("form", cookie)

    def is_form_token(self, cookie: str, offered: str) -> bool:
        """Whether a form was shown under this cookie."""
        return _same(offered, self.form_token(cookie))

    def _sign(self, what: str, text: str) -> str:
        return hmac.new(self.key, f"board {what}\0{text}".encode(), sha256).hexdigest()


def _same(offered: str, right: str) -> bool:
    return hmac.compare_digest(offered.encode("utf-8", "replace"), right.encode())
