"""What a button on a phone page says, as a value: `1:f:CABLE:left`, `all`, `2:not:next`.

Everything is judged here; a form that was changed on its way says nothing we do not know.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from service.core.district import Side
from service.core.reading import Aside, Fault, NotDone, Outcome, Result, Then

THEN = {"next": Then.NEXT_BELL, "second": Then.SECOND, "today": Then.NOT_TODAY}
ASIDES = {
    "found": Aside.FOUND,
    "help": Aside.MEDICAL_HELP,
    "yes": Aside.YES,
    "no": Aside.NO,
}
WORD = re.compile(r"[A-Za-z0-9_-]{1,64}")


class NotAPress(ValueError):
    """The form holds nothing that one of our buttons would send."""


@dataclass(frozen=True)
class Press:
    """One button. `key` is the student's card (None: the whole page); `kind` what it says of it."""

    kind: str
    key: str | None = None
    outcome: Outcome | None = None
    aside: Aside | None = None
    words: str | None = None


def read(form: Mapping[str, str]) -> tuple[Press, str]:
    """The press a form holds, and the word that marks the page it stood on. Raises `NotAPress`."""
    do, word = form.get("do", ""), form.get("word", "")
    if not WORD.fullmatch(word):
        raise NotAPress("the form has lost its mark")
    return _press(do, form), word


def _press(do: str, form: Mapping[str, str]) -> Press:
    if do in ("all", "undo"):
        return Press(do)
    if do.startswith("roster:"):
        return _roster(do, form)
    key, _, rest = do.partition(":")
    if key == "end" and rest in ASIDES:
        return Press("end", aside=ASIDES[rest])
    if not WORD.fullmatch(key) or not rest:
        raise NotAPress("no button says this")
    said, _, more = rest.partition(":")
    made = MAKERS.get(said)
    if made is None:
        raise NotAPress("no button says this")
    return made(key, more, form)


def _roster(do: str, form: Mapping[str, str]) -> Press:
    key, _, answer = do.removeprefix("roster:").rpartition(":")
    words = form.get(f"words:{key}", "").strip()
    if answer not in ("right", "wrong") or (answer == "wrong" and not words):
        raise NotAPress("a correction says what is different")
    return Press("roster", key, words=words if answer == "wrong" else None)


def _fault(key: str, more: str, _: Mapping[str, str]) -> Press:
    code, _sep, side = more.partition(":")
    if not WORD.fullmatch(code) or side not in ("", *Side):
        raise NotAPress("no fault is called this")
    fault = Fault(code, Side(side) if side else None)
    return Press("fault", key, Outcome(Result.FAULT, (fault,)))


def _not_done(key: str, more: str, form: Mapping[str, str]) -> Press:
    why = form.get(f"why-{key}", "")
    if more not in THEN:
        raise NotAPress("it does not say what is to happen")
    reason = NotDone(why) if why in tuple(NotDone) else None
    return Press("not", key, Outcome(Result.NOT_DONE, reason=reason, then=THEN[more]))


def _plain(result: Result) -> Callable[[str, str, Mapping[str, str]], Press]:
    return lambda key, _more, _form: Press(result.value, key, Outcome(result))


def _named(kind: str) -> Callable[[str, str, Mapping[str, str]], Press]:
    return lambda key, _more, _form: Press(kind, key)


MAKERS: Mapping[str, Callable[[str, str, Mapping[str, str]], Press]] = {
    "working": _plain(Result.WORKING),
    "away": _plain(Result.AWAY),
    "f": _fault,
    "not": _not_done,
    "fixed": _named("fixed"),
    "still": _named("still"),
    "back": _named("back"),
    "alarm": _named("alarm"),
}
