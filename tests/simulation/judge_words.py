"""What was said: never lost, never read as better news than it is (5, 6)."""

import re
from datetime import datetime, timedelta

from tests.simulation.checker import Found, Judging
from tests.simulation.record import Entry
from tests.simulation.seen import Acknowledged

READ_WITHIN = timedelta(minutes=1)
ASKED_WITHIN = timedelta(minutes=4)
GOOD = ("working", "fixed")
REST = re.compile(r"(?:all ok but|ok except) (\d+)|(\d+) \w+, rest ok")
ONE = re.compile(r"(\d+) (?:ok|fixed|working)")
OF_WHAT_WAS_ASKED = ("fixed", "working", "yes", "1")


def is_good(text: str, number: int) -> bool:
    """Whether words of the simulated adults say that the student of a number is well."""
    if text in ("ok", *OF_WHAT_WAS_ASKED):
        return True
    if rest := REST.match(text):
        return number not in {int(n) for n in rest.groups() if n}
    one = ONE.fullmatch(text)
    return one is not None and int(one[1]) == number


def says_something_good(text: str) -> bool:
    return text in ("ok", *OF_WHAT_WAS_ASKED) or bool(REST.match(text) or ONE.fullmatch(text))


class Words(Judging):
    """Invariants 5 and 6."""

    def __init__(self, case: object) -> None:
        super().__init__(case)  # type: ignore[arg-type]
        self._words = 0

    def copy(self, at: datetime, copy: object) -> Found:
        return self._new_words()

    def entry(self, entry: Entry) -> Found:
        yield from self._new_words()
        if entry.kind == "reading":
            yield from self._read(entry)
        if entry.kind == "check" and entry.body["result"] in GOOD:
            yield from self._caused(entry)

    def end(self, now: datetime) -> Found:
        for words in self.outside.words.values():
            if words.at < now - READ_WITHIN:
                yield from self._lost(words)

    def _new_words(self) -> Found:
        """Each acknowledged message is owed its reading."""
        held = list(self.outside.words.values())[self._words :] if len(self.outside.words) > self._words else []
        self._words += len(held)
        for words in held:
            self.case.owe(words.at + READ_WITHIN, lambda _, w=words: self._lost(w))
        yield from ()

    def _lost(self, words: Acknowledged) -> Found:
        known = words.person in self.outside.documents["people"]
        if known and f"rg-{words.inbox}" not in self.record.readings:
            yield f"5: “{words.text}” of {words.person} was acknowledged at {words.at:%H:%M:%S} and never read"

    def _read(self, entry: Entry) -> Found:
        words = self.outside.words.get(entry.body["inbox"])
        if words is None:
            return
        for number, outcome in entry.body["outcomes"].items():
            if outcome["result"] in GOOD and not (words.proven and is_good(words.text, int(number))):
                yield f"6: “{words.text}” of {words.person} was read as {number} {outcome['result']}"
        if entry.body["ask"] and words.text.strip():
            self.case.owe(entry.at + ASKED_WITHIN, lambda _: self._asked(entry, words))

    def _asked(self, entry: Entry, words: Acknowledged) -> Found:
        wanted = [f"{purpose}/{words.inbox}/{words.person}" for purpose in ("question", "answer", "caution")]
        asked = "SELECT count(*) FROM outbox WHERE key IN (?, ?, ?)"
        if self.record.rows(asked, wanted)[0][0] == 0:
            yield f"5: “{words.text}” of {words.person} was not understood and not asked about"

    def _caused(self, entry: Entry) -> Found:
        readings = [r for c in entry.cause if (r := self.record.readings.get(c))]
        texts = [w for r in readings if (w := self.outside.words.get(r.body["inbox"]))]
        pressed = [r for r in readings if r.body["inbox"] not in self.outside.words]
        if pressed or any(w.text.startswith("undo") for w in texts):
            return
        if not any(w.proven and says_something_good(w.text) for w in texts):
            said = [w.text for w in texts]
            yield f"6: {entry.id} became {entry.body['result']} by {said or entry.cause}"
