"""Catching up in order and once, and a record that names the cause and the time of every change (7, 8)."""

import re
from datetime import datetime

from tests.simulation.checker import GRACE, UNNOTICED, Found, Judging
from tests.simulation.record import ASKING, TURNS, Entry, instant, plain
from tests.simulation.seen import Copy

FROM_OUTSIDE = re.compile(r"(plan|day|nt)-|s\d+(-r\d+-c\d+)?$")


class Order(Judging):
    """Invariant 7."""

    def __init__(self, case: object) -> None:
        super().__init__(case)  # type: ignore[arg-type]
        self._steps: dict[str, tuple[int, datetime]] = {}
        self._news: dict[tuple[str, str], datetime] = {}

    def entry(self, entry: Entry) -> Found:
        if entry.kind != "chase" or entry.body["why"] != "silence" or not entry.id.endswith(tuple("123456789")):
            return
        by_itself = len(entry.cause) == 1 and entry.cause[0].startswith("ck-")
        for since, back in self.outside.outages:
            if back is None or back - since <= UNNOTICED:
                continue
            if by_itself and back <= entry.at < back + GRACE:
                yield f"7: {entry.id} went on by itself {entry.at - back} after the service was back"

    def copy(self, at: datetime, copy: Copy) -> Found:
        for part in self.record.parts(copy.id, copy.person):
            if part.purpose in TURNS and part.generation == 1 and copy.attempt == 1:
                step, since = self._steps.get(part.chase, (0, copy.claimed))
                if part.step < step and since < copy.claimed:
                    yield f"7: step {part.step} of {part.chase} was told after step {step}"
                self._steps[part.chase] = max((step, since), (part.step, copy.claimed))
            if part.purpose in ("news", "no_check"):
                self._news.setdefault((part.chase, part.person), copy.claimed)
            if part.purpose in ASKING and copy.purpose in ASKING:
                news = self._news.get((part.chase, part.person))
                reopened = [e for e in self.record.chases[part.chase] if news and e.at >= news]
                if news and news < copy.claimed and not reopened:
                    yield f"7: news of {part.chase} overtook its alert to {part.person}"


class Causes(Judging):
    """Invariant 8."""

    def entry(self, entry: Entry) -> Found:
        now = self.case.now
        if now is not None and entry.at > now:
            yield f"8: {entry.kind} {entry.id} is written for {entry.at}, and it is {now}"
        if entry.kind not in ("chase", "check", "message", "withheld"):
            return
        unknown = [c for c in entry.cause if c not in self.record.known and not FROM_OUTSIDE.match(c)]
        if not entry.cause or unknown:
            yield f"8: {entry.kind} {entry.id} at {entry.at:%H:%M:%S} has the cause {unknown or 'none'}"

    def end(self, now: datetime) -> Found:
        for id, result in self.record.rows("SELECT id, result FROM checks WHERE state <> 'planned'", ()):
            said = [e for e in self.record.checks.get(id, []) if not e.body.get("late")]
            shown = said[-1].body["result"] if said else None
            if shown != result:
                yield f"8: {id} is {result}, and the journal says {shown}"
        for id, phase, ended, body in self.record.rows("SELECT id, phase, ended_at, body FROM chases", ()):
            yield from self._chase(id, phase, ended, plain(body))

    def _chase(self, id: str, phase: str, ended: object, body: dict[str, dict[str, dict[str, str]]]) -> Found:
        entries = self.record.chases.get(id, [])
        shown = entries[-1].body["state"] if entries else None
        state = body["chase"]["end"]["how"] if ended else phase
        if shown != state:
            yield f"8: {id} is {state}, and the journal says {shown}"
        if ended and entries and instant(ended) != entries[-1].at and not any(e.at == instant(ended) for e in entries):
            yield f"8: {id} ended at {ended}, and the journal does not say so"
