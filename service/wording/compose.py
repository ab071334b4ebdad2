"""Letters into what people read: a subject, a lock-screen line and a text with `{link}` in it.

How to answer in words stands between `{words}` and `{/words}`, since not every channel takes answers; which one
a message goes by is known only as it is sent (`fill`, `by_link`).

The words are Jinja templates, one file per letter (`en/prompt.txt`), whose English is looked up in the catalogue of
the reader's language (`service.languages`). The first line of a
rendered template is the lock-screen line and the subject: role, time and action only, since anybody may
see it. What follows is at most four lines; then comes the link. A shared channel gets first line and link.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cache
from html import escape

from jinja2 import Environment, PackageLoader, StrictUndefined

from service.core.district import Severity
from service.languages import FALLBACK, speaking, spoken_in
from service.wording import letters as kinds
from service.wording.letters import Letter
from service.wording.phrases import filters

LINK = "{link}"

SECTIONS = 5
"""How many letters one merged message spells out; the rest is behind the link."""

_SPACES = re.compile(r"\s+")
_BY_WORDS = re.compile(r"[ \n]*\{words\}[^{}]*\{/words\}")
_MARKS = re.compile(r"\{/?words\}")

_TEMPLATES: dict[type[Letter], str] = {
    kinds.Prompt: "prompt",
    kinds.Reminder: "reminder",
    kinds.Second: "second",
    kinds.Alert: "alert",
    kinds.Promise: "promise",
    kinds.News: "news",
    kinds.NoCheck: "no_check",
    kinds.Answer: "answer",
    kinds.Help: "help",
    kinds.Question: "question",
    kinds.Caution: "caution",
    kinds.ChainEnd: "chain_end",
    kinds.Unreached: "unreached",
    kinds.DayEnd: "day_end",
    kinds.DaysMissed: "days_missed",
    kinds.NoRounds: "no_rounds",
    kinds.Roster: "roster",
    kinds.Slip: "slip",
    kinds.Misread: "misread",
    kinds.Absent: "absent",
    kinds.Week: "week",
    kinds.LowShelves: "low_shelves",
}

_GRAVITY = (kinds.Caution, kinds.Alert, kinds.ChainEnd, kinds.Promise, kinds.Question, kinds.Prompt)
"""What comes first in a merged message; everything else follows as it came."""


@dataclass(frozen=True)
class Written:
    """A message in words. `lock_line` and `subject` are safe for any eye; `text` holds `{link}` once, and is
    made ready by `fill`.
    """

    subject: str
    lock_line: str
    text: str


def compose(letter: Letter, language: str = FALLBACK) -> Written:
    """One letter in words. A language without templates reads English.

    An answer's text begins with what was recorded, since the person has just written; every other text
    begins with its lock-screen line. The emergency caution names nobody and goes out whole, even to a
    shared channel: what to do now must be read at once.
    """
    with speaking(language):
        return _composed(letter)


def _composed(letter: Letter) -> Written:
    lock, body = _parts(letter)
    if letter.to.shared and not isinstance(letter, kinds.Caution):
        return _written(lock, [])
    alone = isinstance(letter, kinds.Answer | kinds.Help) and body
    return _written(lock, body, opening=not alone)


def compose_many(letters: Sequence[Letter], language: str = FALLBACK) -> Written:
    """One person's waiting letters as one message: gravest first, silences put together.

    Raises ValueError where there is no letter.
    """
    if not letters:
        raise ValueError("no letter to compose; at least one is needed")
    held = sorted(_gathered(letters), key=_weight)
    if len(held) == 1:
        return compose(held[0], language)
    with speaking(language):
        return _merged(held)


def _merged(held: Sequence[Letter]) -> Written:
    lock = _summary(held)
    if any(letter.to.shared for letter in held) and not isinstance(held[0], kinds.Caution):
        return _written(lock, [])
    body: list[str] = []
    for letter in held[:SECTIONS]:
        line, lines = _parts(letter)
        body += ["", line, *lines]
    if len(held) > SECTIONS:
        body += ["", *_rendered("more", {"more": len(held) - SECTIONS})]
    return _written(lock, body, opening=body[1] != lock, gap=True)


def by_link(text: str, language: str) -> str:
    """`text` for a channel on which answers are not read: it tells no words, and says to answer by the link."""
    with speaking(language):
        sentence = _rendered("by_link", {})[0]
    return _BY_WORDS.sub("", text).replace(LINK, f"{sentence}\n{LINK}")


def fill(text: str, link: str | None) -> str:
    """`text` with the link in place; without one the line that would hold it goes."""
    plain = _MARKS.sub("", text)
    if link is None:
        return plain.removesuffix(LINK).rstrip("\n")
    return plain.replace(LINK, link)


def html(text: str, link: str | None) -> str:
    """The text (with `{link}`) as an HTML part: the same words, the link to press, nothing remote."""
    blocks = [_block(part) for part in fill(text, None).split("\n\n") if part.strip()]
    if link is not None:
        safe = escape(link, quote=True)
        blocks.append(f'<p><a href="{safe}">{safe}</a></p>')
    return "\n".join(
        ['<!doctype html><html><head><meta charset="utf-8"></head><body>', *blocks, "</body></html>"]
    )


def _block(part: str) -> str:
    return "<p>" + "<br>\n".join(escape(line) for line in part.strip("\n").split("\n")) + "</p>"


def _parts(letter: Letter) -> tuple[str, list[str]]:
    """The lock-screen line and the lines below it, without the link."""
    facts = {field.name: getattr(letter, field.name) for field in fields(letter)}
    lock, *body = _rendered(_TEMPLATES[type(letter)], facts)
    if letter.to.outside and body:
        body[-1] += " " + _rendered("outside", {})[0]
    return lock, body


def _written(lock: str, body: Sequence[str], opening: bool = True, gap: bool = False) -> Written:
    lines = [*([lock] if opening else []), *body, *([""] if gap else []), LINK]
    return Written(subject=lock, lock_line=lock, text="\n".join(lines).lstrip("\n"))


def _rendered(name: str, facts: dict[str, object]) -> list[str]:
    text = _environment().get_template(f"{name}.txt").render(facts)
    lines = (_SPACES.sub(" ", line).strip() for line in text.splitlines())
    return [line for line in lines if line]


@cache
def _environment() -> Environment:
    environment = Environment(  # noqa: S701 - plain text; `html` escapes
        loader=PackageLoader("service.wording", FALLBACK),
        undefined=StrictUndefined,
        auto_reload=False,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_tame,
    )
    spoken_in(environment)
    environment.filters.update(filters())
    return environment


def _tame(value: object) -> object:
    """A fact stays on its line and cannot stand in for the link or a mark."""
    if not isinstance(value, str):
        return value
    return _MARKS.sub("(words)", _SPACES.sub(" ", value).replace(LINK, "(link)"))


def _gathered(letters: Sequence[Letter]) -> list[Letter]:
    """Silences of the same kind become one letter; the earliest limit is the one that counts."""
    held: list[Letter] = []
    for letter in letters:
        same = next((i for i, other in enumerate(held) if _joins(other, letter)), None)
        if same is None:
            held.append(letter)
        else:
            held[same] = _joined(held[same], letter)
    return held


def _joins(one: Letter, other: Letter) -> bool:
    if not (isinstance(one, kinds.Second) and isinstance(other, kinds.Second)):
        return False
    return (one.to, one.with_child) == (other.to, other.with_child)


def _joined(one: Letter, other: Letter) -> Letter:
    if not (isinstance(one, kinds.Second) and isinstance(other, kinds.Second)):
        return one
    first = min((one, other), key=lambda letter: letter.by or "~")
    late = one.late_since or other.late_since
    return replace(first, rounds=one.rounds + other.rounds, late_since=late)


def _weight(letter: Letter) -> tuple[int, int]:
    rank = next((i for i, kind in enumerate(_GRAVITY) if isinstance(letter, kind)), len(_GRAVITY))
    return rank, -list(Severity).index(letter.severity) if isinstance(letter, kinds.Alert) else 0


def _summary(held: Sequence[Letter]) -> str:
    """The lock-screen line of a merged message; an emergency's own line stands for all."""
    first = held[0]
    if isinstance(first, kinds.Caution) or _is(first, Severity.EMERGENCY):
        return _parts(first)[0]
    counts = _rendered("counts", _counts(held))
    limits = [by for letter in held if (by := getattr(letter, "by", "")) and isinstance(by, str)]
    facts = {
        "counts": counts,
        "urgent": any(_is(letter, Severity.URGENT) for letter in held),
        "by": min((by for by in limits if by[:1].isdigit()), default=""),
    }
    return _rendered("many", facts)[0]


def _counts(held: Sequence[Letter]) -> dict[str, object]:
    checks = sum(len(letter.items) for letter in held if isinstance(letter, kinds.Prompt | kinds.Reminder))
    silent = (one for letter in held if isinstance(letter, kinds.Second) for one in letter.rounds)
    checks += sum(len(one.items) for one in silent)
    faults = sum(len(letter.items) for letter in held if isinstance(letter, kinds.Alert))
    asking = sum(isinstance(letter, kinds.Question | kinds.Promise) for letter in held)
    counted = kinds.Prompt | kinds.Reminder | kinds.Second | kinds.Alert | kinds.Question | kinds.Promise
    others = sum(not isinstance(letter, counted) for letter in held)
    return {"checks": checks, "faults": faults, "questions": asking, "others": others}


def _is(letter: Letter, severity: Severity) -> bool:
    return isinstance(letter, kinds.Alert) and letter.severity is severity
