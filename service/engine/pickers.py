"""The fault picker: for each of a student's devices what one may see, the likeliest first, the rest by part."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from service.core.devices import FaultCode, fits, part_names
from service.core.district import Device, Severity, Side
from service.core.forms import Made, shape_of
from service.languages import gettext
from service.wording.names import device_words

FIRST_SEEN = 6
"""Sentences shown before the others: one for each of the likeliest faults of the device."""

LIKELY = ("BAT", "CABLE", "COIL", "MOULD", "BAND", "POWER", "MAGNET", "LINK", "WHISTLE", "MIC")
"""Codes in the order in which classrooms meet them; common practice, no source."""

OF_THE_CHILD = ("child", "skin")
"""Parts that belong to the student, not to one device."""


@dataclass(frozen=True)
class Seen:
    """What an adult sees, the code it stands for, and the sides it can be on (None: no side to name)."""

    code: str
    words: str
    sides: tuple[Side | None, ...]


@dataclass(frozen=True)
class Part:
    """A part of the drawing with what can be seen on it."""

    id: str
    name: str
    seen: tuple[Seen, ...]


@dataclass(frozen=True)
class Picker:
    """One kind of device of a student in one form: its drawing, the likeliest sentences, and the rest by part."""

    key: str
    shape: Made
    words: str
    first: tuple[Seen, ...]
    parts: tuple[Part, ...]


def pickers(codes: Mapping[str, FaultCode], devices: Sequence[Device]) -> Iterable[Picker]:
    """One picker for each kind and form of device that a student has."""
    for shape in dict.fromkeys(map(shape_of, devices)):
        own = [d for d in devices if shape_of(d) == shape]
        fitting = [c for c in codes.values() if c.seen_on(own[0]) and not _is_the_childs(c)]
        likely = sorted((c for c in fitting if c.code in LIKELY), key=lambda c: LIKELY.index(c.code))
        first = tuple((c, c.seen_on(own[0])[0]) for c in likely[:FIRST_SEEN])
        parts = tuple(_parts(fitting, own, {words for _, words in first}))
        shown = tuple(_seen(c, words, own) for c, words in first)
        yield Picker(key_of(shape), shape, device_words(own), shown, parts)


def key_of(shape: Made) -> str:
    """The name of a kind and form within a page."""
    return "-".join([shape.kind.value, *([shape.form.value] if shape.form else [])])


def _is_the_childs(code: FaultCode) -> bool:
    return code.part in OF_THE_CHILD or code.code == "SWAP"


def _parts(fitting: Sequence[FaultCode], own: Sequence[Device], shown: set[str]) -> Iterable[Part]:
    for id, name in part_names().items():
        here = [(c, words) for c in fitting for words in c.seen_on(own[0]) if c.part_of(words) == id]
        seen = tuple(_seen(c, words, own) for c, words in here if words not in shown)
        if seen:
            yield Part(id, gettext(name), seen)


def _seen(code: FaultCode, words: str, own: Sequence[Device]) -> Seen:
    return Seen(code.code, _opening(words), fits(code, own) or (None,))


def _opening(words: str) -> str:
    said = gettext(words)
    return said[:1].upper() + said[1:]


def of_the_child(codes: Mapping[str, FaultCode], devices: Sequence[Device]) -> Iterable[Seen]:
    """What is seen on the child rather than on a device; an emergency has a place of its own."""
    kinds = {d.kind for d in devices}
    for code in codes.values():
        if _is_the_childs(code) and kinds & set(code.devices) and code.severity is not Severity.EMERGENCY:
            for words in code.seen:
                yield Seen(code.code, gettext(words), (None,))
