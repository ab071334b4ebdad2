"""Results and turns: every planned check ends its day with one, every turn is told or passed over in time (1, 2)."""

from datetime import date, datetime, timedelta

from tests.simulation.checker import Found, Judging
from tests.simulation.record import ASKING, RUNNING, TURNS, Entry

WITHIN = timedelta(minutes=4)


class Results(Judging):
    """Invariant 1."""

    def entry(self, entry: Entry) -> Found:
        if entry.kind == "plan":
            for held in entry.body["rounds"]:
                self._owed(held["school"], [s["check"] for s in held["students"]], entry)
        if entry.kind == "replan":
            self._owed(entry.stream.partition("/")[0], list(entry.body["places"]), entry)
        if entry.kind == "check" and not entry.body.get("late"):
            yield from self._asked(entry)

    def _owed(self, school: str, checks: list[str], entry: Entry) -> None:
        day = date.fromisoformat(entry.stream.rpartition("/")[2])
        self.case.owe(self.town.at(school, day, "23:00"), lambda _: self._has_result(checks))

    def _has_result(self, checks: list[str]) -> Found:
        for check in checks:
            said = [e for e in self.record.checks[check] if not e.body.get("late")]
            if not said or said[-1].body["result"] is None:
                yield f"1: {check} ended its day without a result"

    def _asked(self, entry: Entry) -> Found:
        result = entry.body["result"]
        if result not in ("unanswered", "not asked"):
            return
        about = [c for c in self.record.about if c.startswith(f"ch-silence-{entry.id.removeprefix('ck-')}-")]
        reached = any(at <= entry.at for c in about for _, _, at in self.record.told(c, ASKING))
        if reached != (result == "unanswered"):
            yield f"1: {entry.id} is {result}, and a message {'was' if reached else 'was not'} taken before"


class Turns(Judging):
    """Invariant 2, and the limits as they are configured."""

    def __init__(self, case: object) -> None:
        super().__init__(case)  # type: ignore[arg-type]
        self._highest: dict[str, int] = {}

    def entry(self, entry: Entry) -> Found:
        if entry.kind != "chase":
            return
        state, step = entry.body["state"], entry.body["step"]
        if step > self._highest.get(entry.id, -1) and state in ("climbing", "nobody left to tell"):
            self._highest[entry.id] = step
            self.case.owe(entry.at + WITHIN, lambda _: self._met(entry))
        upcoming = entry.body["next"]
        if upcoming and state in RUNNING:
            due = datetime.fromisoformat(upcoming["at"])
            self.case.owe(max(due, entry.at) + WITHIN, lambda until: self._stepped(entry, due, until))
        yield from ()

    def _stepped(self, entry: Entry, due: datetime, until: datetime) -> Found:
        """Something came of the instant at which the turn was to pass on."""
        until = self.case.deadline(until) or until
        later = [e for e in self.record.chases[entry.id] if e is not entry and entry.at <= e.at <= until]
        if not later:
            yield f"2: the turn after {entry.body['step']} of {entry.id} was due at {due:%H:%M:%S} and never came"

    def _met(self, entry: Entry) -> Found:
        chase, step = entry.id, entry.body["step"]
        until = self.case.deadline(entry.at + WITHIN) or entry.at
        told = any(
            part.step == step and part.purpose in (*TURNS, "chain_end") and entry.at <= at <= until
            for part, _, at in self.record.told(chase, (*TURNS, "chain_end"))
        )
        passed = any(
            entry.at <= w.at <= until and w.body["reason"] != "gathering" for w in self.record.withheld[chase]
        )
        moved = any(
            entry.at <= e.at <= until and e is not entry
            and (e.body["state"] != "climbing" or e.body["step"] > step)
            for e in self.record.chases[chase]
        )  # fmt: skip
        tried = entry.body["state"] == "nobody left to tell"
        if not (told or passed or moved or tried):
            yield f"2: nobody was told of step {step} of {chase} within 4 minutes of {entry.at:%H:%M:%S}"
