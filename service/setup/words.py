"""Takers of the words that a configuration uses: ids, names, choices, devices, addresses, secrets' names.

A taker gets the text as written and gives the stored form, or raises `UnreadableError`.
"""

import re
from collections.abc import Callable, Mapping
from datetime import timedelta

from service.core.district import DeviceKind, Form, Power, Role, Severity, Side
from service.core.forms import forms_of
from service.core.sounds import SIX
from service.setup.kinds import choice, spelling
from service.setup.problems import UnreadableError
from service.setup.values import (
    read_date,
    read_duration,
    read_span,
    read_time,
    read_times,
    write_duration,
    write_span,
    write_time,
    write_times,
)

_ID = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9_-]{0,62}[A-Za-z0-9])?")
_CODE = re.compile(r"[A-Z][A-Z0-9]{1,15}")
_SECRET_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]{0,99}")
_EMAIL = re.compile(r"[^\s@<>,;:\"()\[\]\\]+@[A-Za-z0-9.-]+\.[A-Za-z0-9-]+")
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]")
_LANGUAGE = re.compile(r"[a-z]{2,3}(?:-[A-Za-z0-9]{2,8})*")
_USUAL = re.compile(
    r"(?:(?P<side>left|right|l|r) )?(?P<sound>[a-z]+) "
    r"(?:(?P<word>heard|never)|(?P<missed>\d{1,3}) of (?P<checks>\d{1,3}))"
)
_NUMBERED = re.compile(r"\d{1,9}")
LONGEST = 200

ROLE_WORDS: Mapping[str, object] = {
    "second checker": Role.SECOND.value,
    **{role.value: role.value for role in Role},
}
SIDE_WORDS = {"left": Side.LEFT, "right": Side.RIGHT, "l": Side.LEFT, "r": Side.RIGHT}
FORM_WORDS = {spelling(form): form for form in Form} | {"soft band": Form.BAND, "headband": Form.BAND}
POWERS = tuple(power.value for power in Power)
_DEVICE_WORDS = re.compile(
    r"(?<![\w-])(soft[ -]?band|headband|single[ -]unit|cable[ -]and[ -]coil|"
    + "|".join([*(f.value for f in Form if "-" not in f.value), *POWERS])
    + r")(?![\w-])"
)
CAUSES = ("silence", "watch", "same day", "urgent", "emergency")

flag = choice({"yes": True, "no": False, "true": True, "false": False}, "yes or no")
role = choice(ROLE_WORDS, "role")
severity = choice({s.value.replace("_", " "): s.value.replace("_", " ") for s in Severity}, "severity")
device_kind = choice(
    {
        **{kind.value: kind.value for kind in DeviceKind},
        **{f"{kind.value}s": kind.value for kind in DeviceKind},
        "ci": DeviceKind.COCHLEAR_IMPLANT.value,
        "ha": DeviceKind.HEARING_AID.value,
    },
    "kind of device",
)


def line(text: str) -> str:
    """Text of one line, at most 200 characters."""
    if _CONTROL.search(text):
        raise UnreadableError("the text runs over several lines", "write it in one line")
    if not text:
        raise UnreadableError("the text is empty", "write a value, or take the key out")
    if len(text) > LONGEST:
        raise UnreadableError(f"the text has {len(text)} characters", f"keep it within {LONGEST}")
    return text


def ident(text: str) -> str:
    """An id: letters, digits, hyphens and underscores."""
    if _ID.fullmatch(text):
        return text
    tried = re.sub(r"[^A-Za-z0-9_]+", "-", text).strip("-")[:64].strip("-")
    right = f"write {tried!r}" if tried and _ID.fullmatch(tried) else "use letters, digits and hyphens"
    raise UnreadableError(
        f"{text!r} is no id", f"{right}: an id has letters, digits, hyphens and underscores only"
    )


def person_id(text: str) -> str:
    """A person's id, which is no role's name, so that a chain can name both."""
    if text.casefold() in ROLE_WORDS or text == "district":
        raise UnreadableError(
            f"{text!r} is the name of a role", "give the person an id of their own, as l-teal"
        )
    return ident(text)


def fault_code(text: str) -> str:
    """A fault code in capitals, `CABLE`."""
    if not _CODE.fullmatch(text):
        raise UnreadableError(
            f"{text!r} is no fault code", "use 2 to 16 capital letters and digits, as CABLE"
        )
    return text


def bell_name(text: str) -> str:
    """A bell's name; a comma or a leading `end of` would be read as something else."""
    name = line(text)
    if "," in name or re.match(r"(?:end|start) of\b", name, re.IGNORECASE):
        raise UnreadableError(
            f"{name!r} cannot name a bell", "leave out commas, and do not begin with 'end of' or 'start of'"
        )
    return name


def language(text: str) -> str:
    """A language tag, `en` or `es-MX`."""
    if not _LANGUAGE.fullmatch(text):
        raise UnreadableError(f"{text!r} is no language", "write its short code, as en or es")
    return text


def email(text: str) -> str:
    """An e-mail address."""
    if not _EMAIL.fullmatch(text) or len(text) > 254:
        raise UnreadableError(f"{text!r} is no e-mail address", "write it as name@school.example")
    return text


def sender(text: str) -> str:
    """The address that messages come from, alone or with a name before it: `Checks <checks@school.example>`."""
    named = re.fullmatch(r"([^<>@\"]{1,80})<([^<>]+)>", line(text))
    return f"{named[1].strip()} <{email(named[2])}>" if named else email(text)


def secret_name(text: str) -> str:
    """The name under which the environment or the secrets file holds a secret."""
    if not _SECRET_NAME.fullmatch(text):
        raise UnreadableError(
            "a secret is given by its name", "write a name of letters, digits and _, as CHAT_SECRET"
        )
    return text


def device(text: str) -> str:
    """A device as `left hearing-aid`, `R cochlear-implant single-unit rechargeable` or `remote-mic`; stored as side,
    kind, form and power, as far as they are said.
    """
    found = _DEVICE_WORDS.findall(text.casefold())
    said = [FORM_WORDS[word] for word in (spelling(w) for w in found) if word in FORM_WORDS]
    powers = [word for word in found if word in POWERS]
    rest = _DEVICE_WORDS.sub(" ", text.casefold()).replace(" cell", " ").replace(" size", " ").split()
    odd = next((word for word in rest if word.isdigit()), None)
    if odd is not None:
        raise UnreadableError(f"{text!r}: {odd!r} is no size of a cell", f"use one of: {', '.join(POWERS)}")
    sides = [SIDE_WORDS[w].value for w in rest if w in SIDE_WORDS]
    kind = str(device_kind("-".join(w for w in rest if w not in SIDE_WORDS)))
    _judge_sides(text, kind, sides)
    if len(said) > 1 or len(powers) > 1:
        raise UnreadableError(f"{text!r} says two forms or two ways of power", "write each device once, as it is")
    if said and said[0] not in forms_of(DeviceKind(kind)):
        known = ", ".join(forms_of(DeviceKind(kind)))
        right = f"write one of: {known}" if known else "leave it out"
        raise UnreadableError(f"{text!r}: a {kind} has no form {said[0].value!r}", right)
    return " ".join([*sides, kind, *(form.value for form in said), *powers])


def _judge_sides(text: str, kind: str, sides: list[str]) -> None:
    if kind == DeviceKind.REMOTE_MIC:
        if sides:
            raise UnreadableError(f"{text!r}: a classroom microphone has no side", f"write {kind}")
    elif len(sides) != 1:
        raise UnreadableError(f"{text!r} does not say one side", f"write left {kind} or right {kind}")


def usual(text: str) -> str:
    """What is usual of a sound, as `all heard`, `s never` or `left sh 2 of 15`; stored as missed of checks."""
    found = _USUAL.fullmatch(text.casefold())
    missed, checks = (0, 15) if found is None or found["word"] == "heard" else (15, 15)
    if found is not None and found["missed"]:
        missed, checks = int(found["missed"]), int(found["checks"])
    if found is None or found["sound"] not in ("all", *SIX) or not missed <= checks <= 999 or not checks:
        raise UnreadableError(
            f"{text!r} does not say what is usual",
            "write a sound or all, then heard, never, or missed of checks: all heard, s never, left sh 2 of 15",
        )
    side = f"{SIDE_WORDS[found['side']].value} " if found["side"] else ""
    return f"{side}{found['sound']} {missed} of {checks}"


def number(low: int, high: int) -> Callable[[str], object]:
    """A taker of a whole number from `low` to `high`."""

    def take(text: str) -> int:
        if not _NUMBERED.fullmatch(text) or not low <= int(text) <= high:
            raise UnreadableError(f"{text!r} is out of range", f"write a whole number from {low} to {high}")
        return int(text)

    return take


def duration(low: timedelta, high: timedelta, why: str = "") -> Callable[[str], object]:
    """A taker of a length of time from `low` to `high`; `why` says what the bound protects."""

    def take(text: str) -> str:
        value = read_duration(text)
        if not low <= value <= high:
            wrong = f"{text} is too {'short' if value < low else 'long'}" + (f": {why}" if why else "")
            raise UnreadableError(wrong, f"write between {write_duration(low)} and {write_duration(high)}")
        return write_duration(value)

    return take


def days(text: str) -> str:
    """A number of school days, `3 days`."""
    found = re.fullmatch(r"(\d{1,3})(?:\s*days?)?", text)
    if found is None:
        raise UnreadableError(f"{text!r} is no number of days", "write it as 3 days")
    return f"{int(found[1])} {'day' if int(found[1]) == 1 else 'days'}"


def pieces(text: str) -> str:
    """So many pieces, and how long they are good: `24`, or `24 until 2027-03-01`."""
    found = re.fullmatch(r"(\d{1,5})(?:\s+until\s+(\S+))?", text)
    if found is None:
        raise UnreadableError(f"{text!r} is no number of pieces", "write it as 24, or as 24 until 2027-03-01")
    return f"{int(found[1])} until {day(found[2])}" if found[2] else str(int(found[1]))


def current(text: str) -> str:
    """What a device draws, `1.5 mA`."""
    found = re.fullmatch(r"(\d{1,3}(?:\.\d{1,3})?)\s*mA", text)
    if found is None or float(found[1]) <= 0:
        raise UnreadableError(f"{text!r} is no current", "write it in milliamperes, as 1.5 mA")
    return f"{found[1]} mA"


def years(text: str) -> str:
    """A number of years, `3 years`."""
    found = re.fullmatch(r"([1-9]\d?)(?:\s*years?)?", text)
    if found is None:
        raise UnreadableError(f"{text!r} is no number of years", "write it as 3 years")
    return f"{int(found[1])} {'year' if int(found[1]) == 1 else 'years'}"


def clock(text: str) -> str:
    """A time of day."""
    return write_time(read_time(text))


def bell_times(text: str) -> str:
    """When a bell rings, or a period's start and end."""
    return write_times(*read_times(text))


def hours(text: str) -> str:
    """Working hours of a day, `07:30 - 15:30`."""
    start, end = read_times(text)
    if end is None:
        raise UnreadableError(f"{text!r} is a time alone", "write from and to, as 07:30 - 15:30")
    return write_times(start, end)


def day(text: str) -> str:
    """A date."""
    return read_date(text).isoformat()


def span(text: str) -> str:
    """A date or a range of dates."""
    return write_span(*read_span(text))


def contact(text: str) -> str:
    """Whom a step tells: a role's word in its stored form, or a person's id."""
    if text.casefold() in ROLE_WORDS:
        return str(role(text))
    return ident(text)


def web_address(text: str) -> str:
    """A web address, in which `{address}` may stand for the person's own."""
    if not re.fullmatch(r"https?://[A-Za-z0-9.\-]+(?::\d{1,5})?(?:/\S*)?", text) or len(text) > 500:
        raise UnreadableError(f"{text[:60]!r} is no web address", "write one that begins with https://")
    return text


def host(text: str) -> str:
    """The name or address of a server."""
    if not re.fullmatch(r"[A-Za-z0-9](?:[A-Za-z0-9.:\-]{0,251}[A-Za-z0-9])?", text):
        raise UnreadableError(f"{text!r} is no server's name", "write it as mail.school.example")
    return text


def rate(text: str) -> str:
    """The most messages in a second, minute or hour, `10 per minute`."""
    found = re.fullmatch(r"(\d{1,6})\s*(?:per|/|a)\s*(second|minute|hour)", text)
    if found is None or int(found[1]) == 0:
        raise UnreadableError(f"{text!r} is no rate", "write it as 10 per minute")
    return f"{int(found[1])} per {found[2]}"
