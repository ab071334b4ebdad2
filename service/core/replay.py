"""The journal replayed from nothing: entries folded into the state they imply, to be held against the tables.

An entry implies what it names and nothing else: a value that no entry names is not known, and is not compared.
That is how entries of an earlier form count, which named less. Everything here is in plain JSON values but for
instants.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from service.core.chains import Ended, Phase, Why

ENDED = frozenset(how.value for how in Ended)


@dataclass(frozen=True)
class Told:
    """One entry: its number in its stream, when, what, why, through whom. `words` are those kept apart and known."""

    n: int
    at: datetime
    kind: str
    cause: tuple[str, ...]
    actor: str | None
    body: Mapping[str, Any]
    words: Mapping[str, str] = field(default_factory=dict)


@dataclass
class Known:
    """What is known of one row, and the number of the entry that spoke of it last."""

    n: int = 0
    values: dict[str, Any] = field(default_factory=dict)


Rows = dict[str, Known]


@dataclass
class State:
    """What the entries of one stream imply, table by table; rows by id.

    `statements` are by check, in the order said; `words` maps a received message to its words, where they are
    known; `forgotten` counts by stream the personal values that were removed on record. `is_old` where an entry is of
    the earlier form; `new_from` is the first instant of the present form.
    """

    rounds: Rows = field(default_factory=dict)
    checks: Rows = field(default_factory=dict)
    chases: Rows = field(default_factory=dict)
    faults: Rows = field(default_factory=dict)
    messages: Rows = field(default_factory=dict)
    inbox: Rows = field(default_factory=dict)
    notices: Rows = field(default_factory=dict)
    versions: Rows = field(default_factory=dict)
    addressees: Rows = field(default_factory=dict)
    holds: Rows = field(default_factory=dict)
    counts: Rows = field(default_factory=dict)
    statements: dict[str, list[Known]] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)
    forgotten: Counter[str] = field(default_factory=Counter)
    is_old: bool = False
    new_from: datetime | None = None


OLD_WITHOUT = {"plan": "state", "check": "state", "message": "state", "configuration": "n"}
"""What an entry of a kind names in the present form, and did not in the earlier one."""

NEW_KINDS = frozenset({"replan", "asked", "put off", "said", "taken back", "put out"})
"""Kinds of entries that the earlier form did not have."""


def replay(entries: Iterable[Told]) -> State:
    """Fold a stream, from its beginning and in its order, into what it implies."""
    state = State()
    for told in entries:
        fold(state, told)
    return state


def fold(state: State, told: Told) -> None:
    """Let one more entry count. Kinds that change no row compared here are passed over."""
    folded = FOLDS.get(told.kind)
    if folded is not None:
        folded(state, told)
    if told.kind in OLD_WITHOUT:
        state.is_old |= not _names(told, OLD_WITHOUT[told.kind])
    if told.kind in NEW_KINDS and state.new_from is None:
        state.new_from = told.at


def _names(told: Told, name: str) -> bool:
    """Whether the entry, or each round it plans, names a thing."""
    return all(name in named for named in told.body["rounds"]) if told.kind == "plan" else name in told.body


def _known(rows: Rows, id: str, told: Told, **values: Any) -> Known:
    known = rows.setdefault(id, Known())
    known.n = told.n
    known.values.update(values)
    return known


def _plan(state: State, told: Told) -> None:
    for planned in told.body["rounds"]:
        known = _known(state.rounds, planned["id"], told, due=_instant(planned["due"]))
        known.values["checker"] = planned["checker"]
        if "state" in planned:
            known.values["state"] = planned["state"]
        for place in planned["students"]:
            fresh = place["check"] not in state.checks
            check = _known(state.checks, place["check"], told, routine=place["routine"])
            if fresh and "state" in planned:
                check.values |= {"round_id": planned["id"], "number": place["number"], "state": planned["state"]}
    _places(state, told, told.body.get("places", {}))


def _replan(state: State, told: Told) -> None:
    for id, name in told.body["rounds"].items():
        _known(state.rounds, id, told, state=name)
    _places(state, told, told.body["places"])


def _places(state: State, told: Told, places: Mapping[str, tuple[str, int]]) -> None:
    """Checks put into a round; one that was not known before is planned."""
    for id, (round_id, number) in places.items():
        fresh = {} if id in state.checks else {"state": "planned"}
        _known(state.checks, id, told, round_id=round_id, number=number, **fresh)


def _asked(state: State, told: Told) -> None:
    _known(state.rounds, told.body["id"], told, state="asked", asked_at=told.at)


def _put_off(state: State, told: Told) -> None:
    _known(state.rounds, told.body["id"], told, due=_instant(told.body["due"]))


def _chase(state: State, told: Told) -> None:
    body = told.body
    id, is_over = body["id"], body["state"] in ENDED
    if id not in state.chases and body["why"] == Why.SILENCE:
        _known(state.checks, check_of_silence(id), told, state="asked")
    known = _known(state.chases, id, told, why=body["why"], severity=body["severity"], step=body["step"])
    known.values["phase"] = Phase.OVER.value if is_over else body["state"]
    known.values["end"] = body["state"] if is_over else None
    known.values["ended_at"] = told.at if is_over else None
    known.values["student"] = next(iter(body["students"]), None)


FAULT = ("student", "code", "stage", "severity", "side", "holder", "promised", "lent")
"""What an entry names of a fault as it stands after it."""


def _fault(state: State, told: Told) -> None:
    """One more step of a fault, or the steps of one message taken back."""
    body = told.body
    known = _known(state.faults, body["id"], told, **{name: body[name] for name in FAULT})
    known.values["closed_at"] = _instant(body["over"]) if body["over"] else None
    steps = known.values.get("steps", [])
    if "step" in body:
        known.values["steps"] = [*steps, body["step"]]
    else:
        known.values["steps"] = [_undone(step, told) for step in steps]
    if "words" in told.words:
        known.values["note"] = told.words["words"]


def _undone(step: Mapping[str, Any], told: Told) -> Mapping[str, Any]:
    is_meant = step.get("said_in") == told.body["taken back"] and "taken_back" not in step
    return {**step, "taken_back": told.at.isoformat()} if is_meant else step


def check_of_silence(chase: str) -> str:
    """The check that a silence chase is about: its id is made from the check's."""
    return "ck-" + chase.removeprefix(f"ch-{Why.SILENCE.value}-").rpartition("-")[0]


def _check(state: State, told: Told) -> None:
    body = told.body
    known = _known(state.checks, body["id"], told, student=body["student"])
    if body.get("late"):
        return
    known.values |= {"result": body["result"], "faults": body["faults"]}
    if "state" in body:
        known.values |= {"state": body["state"], "by": body.get("stands_by", body["by"])}
    elif body["result"] is not None:
        known.values["state"] = "closed"
        known.values.pop("by", None)
    else:
        known.values.pop("state", None)
        known.values.pop("by", None)


def _said(state: State, told: Told) -> None:
    body = told.body
    values = {"person": told.actor, "inbox_id": body["inbox"], "at": told.at, "said": body["said"]}
    state.statements.setdefault(body["id"], []).append(Known(told.n, {**values, "taken back": None}))


def _taken_back(state: State, told: Told) -> None:
    for known in state.statements.get(told.body["id"], []):
        if known.values["inbox_id"] == told.body["inbox"] and known.values["taken back"] is None:
            known.n, known.values["taken back"] = told.n, told.at


def _put_out(state: State, told: Told) -> None:
    _message(state, told)
    state.messages[told.body["id"]].values |= {"cause": told.cause, "created_at": told.at}


def _message(state: State, told: Told) -> None:
    body = told.body
    known = _known(state.messages, body["id"], told, key=body["key"], person=body["to"])
    known.values["purpose"] = body["purpose"]
    if "state" in body:
        known.values["state"] = body["state"]
    if body.get("outcome") == "accepted":
        known.values["accepted_at"] = told.at


def _withheld(state: State, told: Told) -> None:
    if told.body["id"].startswith("msg-"):
        _known(state.messages, told.body["id"], told, state="dropped")


def _read(state: State, told: Told) -> None:
    _received(state, told)
    _known(state.inbox, told.body["inbox"], told, state="read", person=told.body["person"])


def _aside(state: State, told: Told) -> None:
    _received(state, told)
    _known(state.inbox, told.body["inbox"], told, state="aside")


def _received(state: State, told: Told) -> None:
    if "words" in told.words:
        state.words[told.body["inbox"]] = told.words["words"]


def _notice(state: State, told: Told) -> None:
    known = _known(state.notices, told.body["id"], told)
    said = told.body.get("says") or told.body.get("text")
    if said:
        known.values = {"says": without_words(said), "by": told.actor, "withdrawn_at": None}
    if told.body.get("withdrawn"):
        known.values["withdrawn_at"] = told.at


def without_words(notice: Mapping[str, Any]) -> dict[str, Any]:
    """What a notice says, without the words it was given in and without what it does not say."""
    return {name: value for name, value in notice.items() if value and name != "text"}


def _configuration(state: State, told: Told) -> None:
    if "n" in told.body:
        _known(state.versions, str(told.body["n"]), told, digest=told.body["digest"], by=told.actor)


def _doors(state: State, told: Told) -> None:
    _known(state.addressees, told.body["id"], told, epoch=told.body["epoch"])


def _hold(state: State, told: Told) -> None:
    if told.body.get("released"):
        state.holds.pop(told.body["id"], None)
    else:
        _known(state.holds, told.body["id"], told, why=told.body["why"], by=told.actor, at=told.at)


def _counted(state: State, told: Told) -> None:
    body = told.body
    values = {"shelf": body["shelf"], "pieces": body["pieces"], "on_order": body["on_order"]}
    _known(state.counts, body["id"], told, at=told.at, by=told.actor, **values)


def _forgotten(state: State, told: Told) -> None:
    state.forgotten.update(told.body["values"])


def _instant(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)


FOLDS: Mapping[str, Callable[[State, Told], None]] = {
    "plan": _plan,
    "replan": _replan,
    "asked": _asked,
    "put off": _put_off,
    "chase": _chase,
    "fault": _fault,
    "check": _check,
    "said": _said,
    "taken back": _taken_back,
    "put out": _put_out,
    "message": _message,
    "withheld": _withheld,
    "reading": _read,
    "aside": _aside,
    "notice": _notice,
    "configuration": _configuration,
    "doors": _doors,
    "hold": _hold,
    "counted": _counted,
    "forgotten": _forgotten,
}


@dataclass(frozen=True)
class Difference:
    """Something in a table that is not what the entries say: of which row, what, and the entry that says so."""

    row: str
    n: int | None
    what: str

    def __str__(self) -> str:
        return f"{self.row}: {self.what}" + (f" (entry {self.n})" if self.n else "")


def differences(implied: Rows, found: Mapping[str, Mapping[str, Any]], may_lack: bool) -> Iterator[Difference]:
    """Where the rows of a table, by id, are not what the entries imply.

    `may_lack`: rows without an entry are no difference (the earlier form did not tell of all).
    """
    for id, known in sorted(implied.items()):
        if id not in found:
            yield Difference(id, known.n, "it is in the journal and not in its table")
            continue
        row = found[id]
        for name, value in known.values.items():
            if name in row and row[name] != value:
                yield Difference(id, known.n, f"{name} is {_shown(row[name])}, the journal says {_shown(value)}")
    if not may_lack:
        for id in sorted(found.keys() - implied.keys()):
            yield Difference(id, None, "it is in its table and not in the journal")


def said_differently(
    check: str, implied: Sequence[Known], found: Sequence[Mapping[str, Any]], may_lack: bool
) -> Iterator[Difference]:
    """Where what was said about a check, in order, is not what the entries say was said."""
    if len(found) != len(implied):
        if len(found) < len(implied) or not may_lack:
            n = implied[-1].n if implied else None
            yield Difference(check, n, f"{len(found)} statements are kept, the journal says {len(implied)}")
        return
    for at, (known, row) in enumerate(zip(implied, found, strict=True), start=1):
        for name, value in known.values.items():
            if row[name] != value:
                what = f"{name} of statement {at} is {_shown(row[name])}, the journal says {_shown(value)}"
                yield Difference(check, known.n, what)


def last_late(said: Sequence[Known]) -> dict[str, Any] | None:
    """The answer that stands beside a check as late: the last one that was not taken back."""
    late = [k.values["said"] for k in said if k.values["said"].get("late") and k.values["taken back"] is None]
    return {"result": late[-1]["result"], "faults": late[-1].get("faults", [])} if late else None


def _shown(value: Any) -> str:
    if isinstance(value, datetime):
        return value.isoformat()
    return "nothing" if value is None else repr(value)
