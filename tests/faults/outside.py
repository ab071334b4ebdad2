"""The world outside the service: a receiver that keeps what it was sent, and people who answer until they are heard."""

import heapq
import http.client
import json
import re
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from itertools import count
from threading import Event, Lock, Thread
from urllib.parse import urlencode, urlsplit

from service.channels.signature import Rejected, headers_for, verify
from service.engine.clock import wall_now
from tests.faults.town import SECRET, Act, acts
from tests.faults.world_clock import OwnClock

AGAIN = timedelta(seconds=5)
"""After this long somebody tries again who was not heard."""

WORD = re.compile(r'name="word" value="([^"]+)"')
SECONDS = 12.0

Place = tuple[str, int]
"""Host and port of an instance."""


def nothing(_instance: int, _what: str) -> None:
    """Nobody is touched."""


@dataclass(frozen=True)
class Arrival:
    """One delivery: which message, to whom, what for, when in the morning, through which instance."""

    id: str
    person: str
    purpose: str
    at: datetime
    instance: int


@dataclass
class Outside:
    """Everybody beside the service. `places` are the instances that people know; `touch` is told of each moment
    at which an instance can be hit from outside: its number, and what is happening.
    """

    clock: OwnClock
    places: list[Place] = field(default_factory=list)
    touch: Callable[[int, str], None] = nothing
    arrivals: list[Arrival] = field(default_factory=list)
    acknowledged: dict[str, datetime] = field(default_factory=dict)
    pulse: int = 0
    """Grows whenever a message arrives, and whenever somebody begins or ends doing something."""
    wrong: list[str] = field(default_factory=list)
    unheard: Counter[str] = field(default_factory=Counter)
    hang: float = 0.0

    def __post_init__(self) -> None:
        self._lock = Lock()
        self._seen: Counter[tuple[str, str]] = Counter()
        self._known: set[str] = set()
        self._words: dict[str, str] = {}
        self._waiting: list[tuple[datetime, int, int, str, str, Act, str | None]] = []
        self._order = count()
        self._under_way = 0
        self._ended = Event()

    @contextmanager
    def awake(self, host: str = "127.0.0.1") -> Iterator[str]:
        """The receiver listens and people act, until the block ends; gives the receiver's address."""
        server = ThreadingHTTPServer((host, 0), self._taker())
        server.daemon_threads = True
        Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
        pens = ThreadPoolExecutor(8, thread_name_prefix="people")
        acting = Thread(target=self._act, args=(pens,), daemon=True)
        acting.start()
        try:
            yield f"http://{host}:{server.server_address[1]}"
        finally:
            self._ended.set()
            acting.join()
            pens.shutdown()
            server.shutdown()
            server.server_close()

    @property
    def next_act(self) -> datetime | None:
        """When somebody next does something; this instant while somebody is being heard."""
        with self._lock:
            if self._under_way:
                return self.clock.now()
            return self._waiting[0][0] if self._waiting else None

    def never_heard(self) -> list[str]:
        """Who still tries to be heard."""
        with self._lock:
            return [
                f"{person} was not heard in {tries} tries: {dict(self.unheard)}"
                for _, _, tries, person, *_ in self._waiting
                if tries
            ]

    def _taker(outside) -> type[BaseHTTPRequestHandler]:  # noqa: N805 - the handler's own self is another
        class Taker(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["content-length"]))
                _, instance, person = urlsplit(self.path).path.split("/")
                judged = verify((SECRET,), dict(self.headers.items()), body, wall_now())
                if isinstance(judged, Rejected):
                    outside.wrong.append(f"a message to {person} was not signed: {judged.reason}")
                outside._take(int(instance), person, json.loads(body))
                outside.touch(int(instance), "before answering a message")
                if outside.hang:
                    outside._ended.wait(outside.hang)
                self.send_response(204)
                self.end_headers()
                outside.touch(int(instance), "after answering a message")

            def log_message(self, *_: object) -> None:
                pass

        return Taker

    def _take(self, instance: int, person: str, document: dict[str, str | None]) -> None:
        id, purpose = str(document["id"]), str(document["purpose"])
        with self._lock:
            self.pulse += 1
            self.arrivals.append(Arrival(id, person, purpose, self.clock.now(), instance))
            if id in self._known:
                return
            self._known.add(id)
            self._seen[person, purpose] += 1
            for act in acts(person, purpose, self._seen[person, purpose]):
                due = self.clock.now() + timedelta(seconds=act.after)
                entry = (due, next(self._order), 0, person, id, act, document.get("link"))
                heapq.heappush(self._waiting, entry)

    def _act(self, pens: ThreadPoolExecutor) -> None:
        while not self._ended.wait(0.01):
            with self._lock:
                now = self.clock.now()
                while self._waiting and self._waiting[0][0] <= now:
                    self._under_way += 1
                    self.pulse += 1
                    pens.submit(self._try, *heapq.heappop(self._waiting))

    def _try(
        self, due: datetime, order: int, tries: int, person: str, id: str, act: Act, link: str | None
    ) -> None:
        heard = False
        try:
            n = (order + tries) % len(self.places)
            heard = self._say(n, person, id, act.words) if act.words else self._press(n, id, link or "")
        except (OSError, http.client.HTTPException) as failure:
            self.unheard[type(failure).__name__] += 1
        except Exception as failure:
            self.wrong.append(f"{person} could not act: {failure!r}")
        finally:
            with self._lock:
                self._under_way -= 1
                self.pulse += 1
                if not heard:
                    again = (self.clock.now() + AGAIN, order, tries + 1, person, id, act, link)
                    heapq.heappush(self._waiting, again)

    def _say(self, n: int, person: str, id: str, words: str) -> bool:
        own = f"re-{id}"
        body = json.dumps({"from": person, "text": words, "in_reply_to": id}).encode()
        signed = headers_for((SECRET,), own, wall_now(), body)
        status, _ = self._ask(n, "POST", "/in/chat", body, signed, "a reply")
        return self._is_heard(status, 202, own)

    def _press(self, n: int, id: str, link: str) -> bool:
        path = urlsplit(link).path
        if id not in self._words:
            status, page = self._ask(n, "GET", path, b"", {}, "a look at a page")
            found = WORD.search(page)
            if status != 200 or found is None:
                return self._is_heard(status, -1, id)
            self._words[id] = found[1]
        form = urlencode({"do": "all", "word": self._words[id]}).encode()
        kind = {"content-type": "application/x-www-form-urlencoded"}
        status, _ = self._ask(n, "POST", path, form, kind, "a press")
        return self._is_heard(status, 303, f"{self._words[id]}/all")

    def _is_heard(self, status: int, wanted: int, id: str) -> bool:
        """Whether it was acknowledged; a refusal that is not the service's own trouble is noted as wrong."""
        if status == wanted:
            self.acknowledged.setdefault(id, self.clock.now())
            return True
        self.unheard[str(status)] += 1
        if status < 500:
            self.wrong.append(f"{id} was answered with {status}")
        return False

    def _ask(
        self, n: int, method: str, path: str, body: bytes, headers: dict[str, str], what: str
    ) -> tuple[int, str]:
        """One request to an instance; it can be hit once the request is out, and once the answer is in."""
        host, port = self.places[n]
        connection = http.client.HTTPConnection(host, port, timeout=SECONDS)
        try:
            connection.request(method, path, body, {**headers, "host": f"127.0.0.1:{port}"})
            self.touch(n, f"during {what}")
            answer = connection.getresponse()
            text = answer.read().decode()
            self.touch(n, f"after {what}")
            if answer.status == 503 and not answer.getheader("retry-after"):
                self.wrong.append(f"{path} said 503 without Retry-After")
            return answer.status, text
        finally:
            connection.close()
