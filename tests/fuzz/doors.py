"""A morning that any mail and any words are thrown at, and what must hold of each."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from random import Random
from time import process_time
from unicodedata import category

from sqlmodel import Session, col, select
from starlette.testclient import TestClient

from service.engine import commands
from service.engine.clock import SteppedClock
from service.engine.commands import Received
from service.store.base import Store
from service.store.tables import InboxRow, OutboxRow, StatementRow
from service.web.app import create_app
from service.web.options import WebOptions
from tests.engine.engine_mail import CHECKER, address, by_mail, mailroom, message_to, tag_of
from tests.engine.engine_morning import Receivers, at, broken_streams, open_desk, play_to, results, step
from tests.fuzz import inputs
from tests.fuzz.inputs import Asked, Case

OF_ONE_MORNING = 200
"""Inputs until a new morning begins."""

MOST_SECONDS = 2.0
"""Of the processor, for one input of any size; most take some hundredths."""

GOOD = frozenset({"working", "fixed"})


@dataclass
class Tally:
    """How many inputs there were, the slowest in seconds of the processor, and what was wrong with any."""

    inputs: int = 0
    slowest: float = 0.0
    slowest_kind: str = ""
    wrong: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        return f"{self.inputs} inputs, the slowest {self.slowest:.2f} s ({self.slowest_kind}), {len(self.wrong)} wrong"


class Morning:
    """08:06 in a made district whose checker was asked by mail, and all that comes in from then on."""

    def __init__(self, seed: int) -> None:
        self.random = Random(seed)
        self.store = Store("sqlite://")
        self.store.upgrade()
        self.clock = SteppedClock(at("07:00"))
        self.desk = open_desk(self.store, self.clock)
        commands.configure(self.desk, by_mail(), "C")
        play_to(self.desk, "08:06", Receivers())
        prompt = message_to(self.desk, CHECKER)
        tag = tag_of(self.desk, prompt)
        self.asked = Asked(address(CHECKER), prompt.id, str(prompt.thread), tag, prompt.text)

    def play(self, tally: Tally, most: int) -> None:
        """Throw so many inputs at it."""
        for n in range(most):
            case = inputs.chat(self.random) if n % 4 == 3 else inputs.mail(self.random, self.asked)
            tally.inputs += 1
            tally.wrong += [f"{case.kind}: {why}\n{case.data!r:.2000}" for why in self._one(case, n, tally)]
        tally.wrong += broken_streams(self.desk) + list(self._board())

    def _one(self, case: Case, n: int, tally: Tally) -> Iterator[str]:
        self.clock.move_to(at(f"08:{6 + n // 60:02}:{n % 60:02}"))
        began = process_time()
        try:
            id = self._take(case, n)
            step(self.desk, self.clock.now(), Receivers())
        except Exception as failure:
            yield f"it raised {failure!r}"
            return
        took = process_time() - began
        if took > tally.slowest:
            tally.slowest, tally.slowest_kind = took, f"{len(case.data)} bytes: {case.kind}"
        if took > MOST_SECONDS:
            yield f"it took {took:.1f} s"
        yield from self._what_became(id)

    def _take(self, case: Case, n: int) -> str:
        if n % 4 == 3:
            text = case.data.decode()
            return commands.receive(self.desk, Received("chat", f"c{n}", CHECKER, text, CHECKER, proven=True))[0]
        return mailroom(self.desk).take("mail", case.data).id

    def _what_became(self, id: str) -> Iterator[str]:
        """Stored, and answered or shown; and no good news."""
        if good := sorted(check for check, result in results(self.store).items() if result in GOOD):
            yield f"it was read as good news of {good}"
        with self.store.reading() as tx:
            row = tx.get(InboxRow, id)
            if row is None or row.state not in ("read", "aside"):
                yield f"it was left {row.state if row else 'out'}"
            elif row.state == "read" and not _is_known(tx, row):
                yield "it was neither recorded nor answered nor shown"

    def _board(self) -> Iterator[str]:
        """All that is not clear is shown there, whatever is in it."""
        options = WebOptions("http://testserver", None, ("testserver",), stamp=self.clock.now)
        shown = TestClient(create_app(self.desk, options)).get("/board")
        if shown.status_code != 200:
            yield f"the board answers {shown.status_code}"


def _is_known(tx: Session, row: InboxRow) -> bool:
    """A chat message without anything to see is known to hold nothing; of such a mail it is asked what was meant."""
    if row.channel == "chat" and all(category(letter)[0] in "ZC" for letter in row.text):
        return True
    said = tx.exec(select(StatementRow.id).where(StatementRow.inbox_id == row.id).limit(1)).first()
    answer = tx.exec(select(OutboxRow.id).where(col(OutboxRow.key).contains(f"/{row.id}/")).limit(1)).first()
    return said is not None or answer is not None or bool(row.body.get("unclear"))


def fuzz(seed: int, most: int, tally: Tally) -> None:
    """A morning of its own for this seed."""
    morning = Morning(seed)
    morning.play(tally, most)
    morning.store.close()
