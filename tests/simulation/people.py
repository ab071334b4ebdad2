"""What simulated adults answer to a message: in time, late, wrong, unclear, contradictory, corrected, or nothing."""

import re
from dataclasses import dataclass
from datetime import timedelta
from random import Random

from tests.simulation.chance import dice, drawn
from tests.simulation.nature import Nature, nature

NUMBERED = re.compile(r"(?:^|[;\n] ?)(\d{1,2}) [A-Z]")
CHECKS = re.compile(r"(\d+) checks? by")
PROMPTS = ("prompt", "reminder", "second")
ASKING = (*PROMPTS, "caution", "alert", "chain_end", "promise", "question")
"""What people are sent that wants an answer."""

PATIENCE = {0: 1.0, 1: 1.0, 2: 0.6, 3: 0.2}


@dataclass(frozen=True)
class Message:
    """A message as it arrived with a person."""

    key: str
    id: str
    person: str
    purpose: str
    lock_line: str
    text: str

    @property
    def items(self) -> int:
        """How many things it numbers."""
        named = [int(n) for n in NUMBERED.findall(self.text)]
        counted = [int(n) for n in CHECKS.findall(self.lock_line)]
        return max([1, *named, *counted])


@dataclass(frozen=True)
class Answer:
    """Words that come `after` a message; `thread` says whether they name it: yes, no, or an older one."""

    after: timedelta
    text: str
    thread: str = "yes"
    proven: bool = True
    again: bool = False


def habit(seed: int, person: str, day: object) -> str:
    """How somebody is today."""
    return drawn(dice(seed, "habit", person, day), nature(seed).habits)


def answers(seed: int, message: Message, day: object, depth: int = 0) -> list[Answer]:
    """What the person says to a message; `depth` is how long this has gone to and fro: people tire of it."""
    chance, kind, calm = dice(seed, "answer", message.key), nature(seed), dice(seed, "calm", message.key)
    if chance.random() > PATIENCE.get(depth, 0.0):
        return []
    if message.purpose not in ASKING and calm.random() >= kind.chatter:
        return []
    how = habit(seed, message.person, day)
    emergency = "mergency" in message.lock_line or "mergency" in message.text
    said = _words(chance, message, how, emergency)
    if message.purpose in PROMPTS and calm.random() < kind.ok:
        said = said and "ok"
    if said is None:
        return []
    after = _after(chance, how, emergency, kind)
    found = [_answer(chance, after, said, kind)]
    for more in _afterwards(chance, message, said, how) if calm.random() < kind.second_thoughts else []:
        after += timedelta(seconds=chance.choice([20, 60, 200, 290, 400, 900, 2400]))
        found.append(_answer(chance, after, more, kind))
    return found


def _answer(chance: Random, after: timedelta, text: str, kind: Nature) -> Answer:
    thread = drawn(chance, {"yes": 80, "no": 15 * kind.odd, "older": 5 * kind.odd})
    return Answer(after, text, thread, chance.random() > 0.03 * kind.odd, chance.random() < 0.03 * kind.odd)


def _after(chance: Random, how: str, emergency: bool, kind: Nature) -> timedelta:
    if emergency or how != "slow":
        return timedelta(seconds=chance.choice(kind.delays))
    return timedelta(seconds=chance.choice([299, 300, 301, 600, 900, 1800, 5400, 20000]))


def _words(chance: Random, message: Message, how: str, emergency: bool) -> str | None:
    match message.purpose:
        case "caution":
            return drawn(chance, {"found": 5, "with medical help": 3, "ok": 1, "undo": 1})
        case "alert" if emergency:
            return drawn(chance, {"found": 3, "with medical help": 3, "mine": 2, "ok": 1, "working": 1, None: 3})
        case "prompt" | "reminder" | "second":
            return None if how == "silent" else _check(chance, message.items, how)
        case "alert" | "chain_end" | "promise":
            return None if how == "silent" and chance.random() < 0.8 else _contact(chance, message.items)
        case "question" if emergency:
            return drawn(chance, {"yes": 8, "no": 1, None: 1})
        case "question":
            return drawn(chance, {"yes": 8, "no": 3, "1": 1, "ok": 1, "1 ok": 1, None: 4})
        case "answer":
            return drawn(chance, {None: 20, "no": 1, "fixed": 1, "undo": 0.6, "thanks": 0.6, "1 fixed": 0.5})
        case _:
            return drawn(chance, {None: 30, "ok": 1, "mine 10": 0.5, "undo": 0.5, "thanks": 0.5, "fixed": 0.5})


def _check(chance: Random, items: int, how: str) -> str:
    k = chance.randint(1, items)
    odd = {
        f"{k} battery": 8, f"all ok but {k} cable": 8, f"{k} away": 3, f"{k} sore, rest ok": 2, "1 ok": 6,
        f"{k} swallowed a battery": 0.5, f"{k} missed s sh": 2, "ok?": 1, "not ok": 1, "what do you mean": 1,
        "wait 10": 3, "not me": 2, "help": 1, f"{k} no time": 2, f"{k} not arrived yet": 2, "later": 1,
        f"{items + 3} battery": 1, f"{k} lost at home": 2, "ok except 1": 2, f"{k} fixed": 2, "": 0.3,
        f"{k} fever and ear pain": 0.7, f"{k} whistles": 2, "ask the second": 1, "yes": 0.5, f"{k} hook": 3,
    }  # fmt: skip
    sober = 1.4 if how != "muddled" else 0.3
    return drawn(chance, {"ok": sober * sum(odd.values()), **odd})


def _contact(chance: Random, items: int) -> str | None:
    k = chance.randint(1, items)
    return drawn(
        chance,
        {
            None: 12, "mine 20": 5, "mine": 3, "working": 4, "loaner": 3, "not me": 3, "wait 5": 2, "ok": 2,
            "fixed": 4, f"{k} fixed": 4, "undo": 1, "help": 0.5, "on it": 1, f"{k} ok": 2, "mine 300": 1,
            f"{k} battery": 1, f"{k} cable": 1, f"{k} away": 1, f"{k} working": 2, "still broken": 1,
        },
    )  # fmt: skip


def _afterwards(chance: Random, message: Message, said: str, how: str) -> list[str]:
    """Second thoughts, and what comes of a promise."""
    if message.purpose == "caution" or said in ("found", "with medical help"):
        return []
    if said.startswith("mine"):
        return [drawn(chance, {"fixed": 3, "mine 15": 3, "loaner": 1, "working": 2, "not me": 1, "undo": 1, "": 1})]
    odds = {"prompt": 0.1, "slow": 0.1, "silent": 0.1, "muddled": 0.8}[how]
    if chance.random() > odds and (said == "ok" or chance.random() > 0.5):
        return []
    k = chance.randint(1, message.items)
    weights = {
        "undo": 6, f"{k} cable": 2, f"{k} fixed": 6, "ok": 2, "no": 3, "fixed": 4, f"{k} battery": 2, f"{k} away": 1,
        f"{k} ok": 2, "undo undo": 0.2, f"{k} sore": 1, "yes": 1,
    }  # fmt: skip
    return [drawn(chance, weights) for _ in range(chance.choice([1, 1, 2]))]
