"""Names of roles, devices, sides and results in the language spoken."""

from collections.abc import Iterable, Sequence

from service.core.district import Device, DeviceKind, Role, Side
from service.core.listening.worth import Pattern
from service.core.reading import Listened, Result
from service.languages import N_, counted, gettext, phrase

ROLES = {
    Role.CHECKER: N_("the checker"),
    Role.SECOND: N_("the second checker"),
    Role.COORDINATOR: N_("the coordinator"),
    Role.AUDIOLOGIST: N_("the audiologist"),
    Role.NURSE: N_("the nurse"),
    Role.OFFICE: N_("the front office"),
    Role.GUARDIAN: N_("the guardian"),
    Role.VISITING: N_("the visiting staff"),
    Role.CLINIC: N_("the clinic"),
}

DEVICES = {
    (DeviceKind.HEARING_AID, None): N_("hearing aid"),
    (DeviceKind.HEARING_AID, Side.LEFT): N_("left hearing aid"),
    (DeviceKind.HEARING_AID, Side.RIGHT): N_("right hearing aid"),
    (DeviceKind.COCHLEAR_IMPLANT, None): N_("processor"),
    (DeviceKind.COCHLEAR_IMPLANT, Side.LEFT): N_("left processor"),
    (DeviceKind.COCHLEAR_IMPLANT, Side.RIGHT): N_("right processor"),
    (DeviceKind.BONE_CONDUCTION, None): N_("bone processor"),
    (DeviceKind.BONE_CONDUCTION, Side.LEFT): N_("left bone processor"),
    (DeviceKind.BONE_CONDUCTION, Side.RIGHT): N_("right bone processor"),
    (DeviceKind.REMOTE_MIC, None): N_("classroom microphone"),
    (DeviceKind.REMOTE_MIC, Side.LEFT): N_("left classroom microphone"),
    (DeviceKind.REMOTE_MIC, Side.RIGHT): N_("right classroom microphone"),
}
"""Whole phrases, since many languages put the side behind and bend it to the device."""

BOTH = {
    DeviceKind.HEARING_AID: N_("both hearing aids"),
    DeviceKind.COCHLEAR_IMPLANT: N_("both processors"),
    DeviceKind.BONE_CONDUCTION: N_("both bone processors"),
}

SIDES = {Side.LEFT: N_("left"), Side.RIGHT: N_("right")}

RESULTS = {
    Result.WORKING: N_("working"),
    Result.FIXED: N_("fixed"),
    Result.FAULT: N_("fault"),
    Result.AWAY: N_("away"),
    Result.NOT_DONE: N_("could not check"),
    Result.UNANSWERED: N_("no answer"),
    Result.NOT_ASKED: N_("not asked"),
    Result.NO_CHECK: N_("no check"),
}


WORTH = {
    (Pattern.ALL_BOTH, None): N_("All sounds, on both sides or as worn"),
    (Pattern.ALL_ONE_SIDE, Side.LEFT): N_("All sounds on the left"),
    (Pattern.ALL_ONE_SIDE, Side.RIGHT): N_("All sounds on the right"),
    (Pattern.HIGH_BOTH, None): N_("High sounds, on both sides or as worn"),
    (Pattern.HIGH_ONE_SIDE, Side.LEFT): N_("High sounds on the left"),
    (Pattern.HIGH_ONE_SIDE, Side.RIGHT): N_("High sounds on the right"),
    (Pattern.SOME, None): N_("Some sounds, as worn"),
    (Pattern.SOME, Side.LEFT): N_("Some sounds on the left"),
    (Pattern.SOME, Side.RIGHT): N_("Some sounds on the right"),
}
"""Whole phrases, like `DEVICES`."""


def role_words(role: Role) -> str:
    """A role in a sentence: "the coordinator"."""
    return gettext(ROLES[role])


def room_words(room: str) -> str:
    """A room in a sentence: "Room 12", or its name where it has one."""
    return phrase("Room %(room)s", room=room) if len(room) <= 4 and any(c.isdigit() for c in room) else room


def result_words(result: Result | str) -> str:
    """A result in a sentence: "working", "could not check"."""
    return gettext(RESULTS[Result(result)])


def worth_words(pattern: Pattern, side: Side | None) -> str:
    """Which sounds went where: "High sounds on the left"."""
    return gettext(WORTH[pattern, side])


def fault_word(code: str) -> str:
    """A fault in one word, which is an answer too: its code ("cable"), or what the language spoken says for it."""
    return gettext(code.lower())


def listed(words: Sequence[str]) -> str:
    """Words as a list in a sentence: "1, 2 and 3"."""
    if len(words) < 2:
        return "".join(words)
    return gettext("%(most)s and %(last)s") % {"most": ", ".join(words[:-1]), "last": words[-1]}


def device_words(devices: Iterable[Device]) -> str:
    """A student's devices in words: "both hearing aids", "left hearing aid and right processor"."""
    held = tuple(devices)
    parts: list[str] = []
    for kind in dict.fromkeys(device.kind for device in held):
        sides = [device.side for device in held if device.kind is kind]
        if set(sides) == set(Side):
            parts.append(gettext(BOTH[kind]))
        else:
            parts.extend(gettext(DEVICES[kind, side]) for side in sides)
    return listed(parts)


HEARD = {
    None: N_("all sounds"),
    Side.LEFT: N_("all sounds on the left"),
    Side.RIGHT: N_("all sounds on the right"),
}
MISSED = {
    None: N_("missed %(sounds)s"),
    Side.LEFT: N_("missed %(sounds)s on the left"),
    Side.RIGHT: N_("missed %(sounds)s on the right"),
}
NOTICED = {
    None: N_("noticed only %(sounds)s"),
    Side.LEFT: N_("noticed only %(sounds)s on the left"),
    Side.RIGHT: N_("noticed only %(sounds)s on the right"),
}


def sound_words(listened: Listened) -> str:
    """What was said of the sounds: "missed sh and s on the left, all sounds on the right, 1 silence answered"."""
    parts: list[str] = []
    for heard in listened.sides:
        told = [(MISSED, heard.missed)] if heard.missed else []
        told += [(NOTICED, heard.noticed)] if heard.noticed else []
        if not heard.missed:
            parts.append(gettext(HEARD[heard.side]))
        parts += [gettext(words[heard.side]) % {"sounds": spoken_sounds(sounds)} for words, sounds in told]
    if listened.false:
        parts.append(counted("%(num)s silence answered", "%(num)s silences answered", listened.false))
    return ", ".join(parts)


def spoken_sounds(sounds: Iterable[str]) -> str:
    """Sounds as a list in a sentence: "sh and s"."""
    return listed([gettext(sound) for sound in sounds])


def side_words(sides: Iterable[Side | None]) -> str:
    """The side of a fault in words: "left", "right", "both", or nothing where nobody said."""
    named = {side for side in sides if side is not None}
    if not named:
        return ""
    return gettext("both") if len(named) == 2 else gettext(SIDES[next(iter(named))])
