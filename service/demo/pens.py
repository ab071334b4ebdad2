"""How people answer in the demo: by signed webhook through the service's own door, and on the board's own forms."""

import json
import re
from collections.abc import Mapping
from itertools import count
from typing import Self

import httpx

from service.channels.signature import headers_for
from service.demo.pockets import Pockets
from service.demo.stage import CHAT, SECRET, Stage
from service.engine.clock import wall_now

SECONDS = 10.0
TOKEN = re.compile(r'name="token" value="([0-9a-f]+)"')


class Pens:
    """Writes for the people of the demo, over HTTP. A context within one event loop."""

    def __init__(self, stage: Stage, pockets: Pockets, held: Mapping[str, str], base_url: str) -> None:
        self._stage, self._pockets, self._held = stage, pockets, held
        self._client = httpx.AsyncClient(base_url=base_url, timeout=SECONDS, trust_env=False)
        self._numbers = count(1)

    async def __aenter__(self) -> Self:
        """Begin."""
        return self

    async def __aexit__(self, *_: object) -> None:
        """Close the connection."""
        await self._client.aclose()

    async def chat(self, person: str, words: str) -> str | None:
        """Answer the newest message in a pocket by chat; the id under which the service stored it, if it did."""
        id = f"re-{person}-{next(self._numbers)}"
        document = {
            "from": self._stage.address(person, self._held),
            "text": words,
            "in_reply_to": self._pockets.last_id(person),
            "at": wall_now().isoformat(),
        }
        body = json.dumps(document).encode()
        signed = headers_for((self._held[SECRET],), id, wall_now(), body)
        self._pockets.write(person, id, words)
        answer = await self._client.post(f"/in/{CHAT}", content=body, headers=signed)
        if answer.status_code != httpx.codes.ACCEPTED:
            self._pockets.strike(person, id)
            return None
        return str(answer.json()["id"])

    async def notice(self, person: str, line: str) -> bool:
        """Give a notice on the board as a person would; whether the board took it."""
        page = await self._client.get("/board")
        token = TOKEN.search(page.text)
        if token is None:
            return False
        form = {"token": token[1], "actor": person, "line": line, "do": "give"}
        answer = await self._client.post("/board/notice", data=form)
        return answer.status_code == httpx.codes.SEE_OTHER
