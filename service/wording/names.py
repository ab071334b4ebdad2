"""Names of roles, devices, sides and results in a language; a language we do not have reads English."""

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from importlib.resources import files

from service.core.district import Device, DeviceKind, Side

FALLBACK = "en"

ROOT = files("service.wording")


@cache
def language_for(language: str) -> str:
    """The language of ours that serves `language` ("es-MX" reads "es"); English where there is none."""
    short = language.partition("-")[0].lower()
    known = short.isalpha() and ROOT.joinpath(short, "names.toml").is_file()
    return short if known else FALLBACK


@cache
def names(language: str) -> Mapping[str, Mapping[str, str]]:
    """The word tables of a language: role, device, devices, side, result, list."""
    return tomllib.loads(ROOT.joinpath(language_for(language), "names.toml").read_text("utf-8"))


def listed(words: Sequence[str], language: str = FALLBACK) -> str:
    """Words as a list in a sentence: "1, 2 and 3"."""
    if len(words) < 2:
        return "".join(words)
    return ", ".join(words[:-1]) + names(language)["list"]["and"] + words[-1]


def device_words(devices: Iterable[Device], language: str = FALLBACK) -> str:
    """A student's devices in words: "both hearing aids", "left hearing aid and right processor"."""
    table = names(language)
    held = tuple(devices)
    kinds = dict.fromkeys(device.kind for device in held)
    parts: list[str] = []
    for kind in kinds:
        sides = [device.side for device in held if device.kind is kind]
        if set(sides) == set(Side):
            parts.append(f"{table['side']['both']} {table['devices'][kind]}")
        else:
            parts.extend(_one(kind, side, table) for side in sides)
    return listed(parts, language)


def side_words(sides: Iterable[Side | None], language: str = FALLBACK) -> str:
    """The side of a fault in words: "left", "right", "both", or nothing where nobody said."""
    named = {side for side in sides if side is not None}
    if not named:
        return ""
    return names(language)["side"]["both" if len(named) == 2 else next(iter(named))]


def _one(kind: DeviceKind, side: Side | None, table: Mapping[str, Mapping[str, str]]) -> str:
    name = table["device"][kind]
    return name if side is None else f"{table['side'][side]} {name}"
