"""Kinds of device: what can be wrong, what to try first, and what to check today.

The words lie in `devices_data` (TOML, with their sources); this module gives them shape. Severities and
waiting times are local policy and have no published source.
"""

import tomllib
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import timedelta
from functools import cache
from importlib.resources import files
from typing import Any

from service.core.district import SEVERITIES, Device, DeviceKind, FaultText, Settings, Severity, Side, Skill
from service.core.forms import has_part, is_of_form, is_powered_by
from service.core.reading import Fault
from service.core.sounds import SIX

SELF = "self"
"""The kind of check that an older student does alone."""

LINES = ("remedy", "never", "cautions", "seen")
WORN = frozenset({DeviceKind.HEARING_AID, DeviceKind.COCHLEAR_IMPLANT, DeviceKind.BONE_CONDUCTION})


@dataclass(frozen=True)
class Only:
    """For whom a line of the catalogue holds: devices of some forms or power (none: all), in a part of their own,
    and adults with a skill.
    """

    forms: tuple[str, ...] = ()
    power: tuple[str, ...] = ()
    part: str | None = None
    skill: Skill | None = None


EVERYBODY = Only()


@dataclass(frozen=True)
class FaultCode:
    """One thing that can be wrong.

    `remedy` is at most four short steps, `never` what staff must not do, `part` where in the drawing it
    belongs (see `part_names`), `seen` what an adult sees. `in_class`: the steps may put it right on the
    spot. `try_for` None leaves the wait to the district, zero waits for nothing; `at_once` is never waited
    for whatever a district says (rule C2). `guardian_now`, `nurse_now`: who must hear of it without delay.
    `only` says of its lines for whom they hold, where that is not everybody.
    """

    code: str
    label: str
    devices: tuple[DeviceKind, ...]
    severity: Severity
    in_class: bool
    remedy: tuple[str, ...]
    never: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    part: str = "whole"
    seen: tuple[str, ...] = ()
    try_for: timedelta | None = None
    at_once: bool = False
    guardian_now: bool = False
    nurse_now: bool = False
    only: Mapping[str, Only] = field(default_factory=dict, hash=False)

    def holds(self, line: str, device: Device) -> bool:
        """Whether one of its lines is said of this device."""
        only = self.only.get(line, EVERYBODY)
        return is_of_form(device, only.forms) and is_powered_by(device, only.power)

    def part_of(self, seen: str) -> str:
        """The part in which what is seen lies."""
        return self.only.get(seen, EVERYBODY).part or self.part

    def seen_on(self, device: Device) -> tuple[str, ...]:
        """What of it can be seen on this device; nothing where the device cannot have it."""
        if device.kind not in self.devices:
            return ()
        return tuple(s for s in self.seen if self.holds(s, device) and has_part(device, self.part_of(s)))

    def said_of(self, lines: Iterable[str], devices: Collection[Device]) -> tuple[str, ...]:
        """Those of its lines that hold for one of the devices that can have it; all where none can."""
        suited = [device for device in devices if self.seen_on(device)]
        return tuple(line for line in lines if not suited or any(self.holds(line, d) for d in suited))


@dataclass(frozen=True)
class CheckStep:
    """One step of today's check. `tool` is what it is done with (None: bare hands and eyes),
    `without_tool` what to do where the tool is missing. `skill`: it is for somebody trained in it; `by_eye`: what
    is said instead to an adult who does not listen by ear. `sounds`: the sounds are said in it.
    """

    title: str
    sentences: tuple[str, ...]
    tool: str | None = None
    without_tool: str | None = None
    skill: Skill | None = None
    by_eye: tuple[str, ...] = ()
    sounds: bool = False


def catalogue(extensions: Mapping[str, FaultText] | None = None) -> Mapping[str, FaultCode]:
    """All fault codes: the start set, with a district's own codes and words laid over it.

    A code that is never waited for (`at_once`) can be made graver by a district, not milder, and keeps its
    shipped `never` lines beside the district's own.
    """
    codes = dict(_shipped())
    for code, text in (extensions or {}).items():
        codes[code] = _overlaid(codes[code], text) if code in codes else _own(text)
    return codes


def severity_of(
    fault: Fault,
    codes: Mapping[str, FaultCode],
    missed: Collection[str] = (),
    usual: Collection[str] | None = None,
) -> Severity:
    """How fast this fault must be known.

    `SOUND` follows what was missed of what the student usually gets on that side (`usual`; None where no
    baseline is known yet: all six): all of it is urgent, one or two are watched, more are a matter for the
    same day. Sounds that are not named count as the same day, since they may be many. A code that is no
    longer in the catalogue is taken as `OTHER`.
    """
    if fault.code != "SOUND":
        return codes.get(fault.code, codes["OTHER"]).severity
    if not missed:
        return Severity.SAME_DAY
    expected = frozenset(SIX if usual is None else usual)
    lost = expected & frozenset(missed)
    if lost and lost == expected:
        return Severity.URGENT
    return Severity.WATCH if len(lost) <= 2 else Severity.SAME_DAY


def try_for(code: FaultCode, settings: Settings, severity: Severity | None = None) -> timedelta:
    """How long the first remedy may take before the chain is told (rule C2).

    Zero for emergencies, for what is never waited for, and for what no step in class puts right. `severity`
    is the fault's own where it is not fixed by the code (`SOUND`).
    """
    grave = severity or code.severity
    if code.at_once or not code.in_class or grave is Severity.EMERGENCY:
        return timedelta()
    if code.try_for is not None:
        return code.try_for
    return settings.try_for_urgent if grave is Severity.URGENT else settings.try_for


def fits(code: FaultCode, devices: Iterable[Device], side: Side | None = None) -> tuple[Side | None, ...]:
    """The sides of the student's devices that `code` can concern; with `side`, only that one.

    A classroom microphone (side None) counts only where no worn device fits: "wet" is said of what the
    child wears. Empty: the code does not go with these devices.
    """
    suited = [device for device in devices if code.seen_on(device)]
    worn = [device for device in suited if device.kind in WORN]
    return tuple(device.side for device in worn or suited if side is None or device.side is side)


def check_steps(kind: str, devices: Iterable[Device]) -> tuple[CheckStep, ...]:
    """What to check on these devices, in order; the classroom microphone comes last.

    `kind` is the kind of check (see `kinds_of_check`); any other word gets the full check.
    """
    held = tuple(devices)
    wanted = _known(kind)
    made = (_step(step, wanted, held) for step in _data("steps")["step"] if wanted in step["checks"])
    return tuple(step for step in made if step.sentences)


def kinds_of_check() -> tuple[str, ...]:
    """The kinds of check that adults do, the shortest of each day first: daily, full, midday, sport."""
    named = dict.fromkeys(kind for step in _data("steps")["step"] for kind in step["checks"])
    return tuple(kind for kind in named if kind != SELF)


def says_sounds(kind: str) -> bool:
    """Whether the sounds are said in a check of this kind."""
    return any(step.get("sounds") and _known(kind) in step["checks"] for step in _data("steps")["step"])


def tries_sides_alone(kind: str) -> bool:
    """Whether a check of this kind says the sounds to each side alone, and not only as worn."""
    lines = (line for step in _data("steps")["step"] if step.get("sounds") for line in step["say"])
    return any(line.get("alone") and _known(kind) in line["checks"] for line in lines)


def _known(kind: str) -> str:
    return kind if kind == SELF or kind in kinds_of_check() else "full"


def part_names() -> Mapping[str, str]:
    """The parts a fault can lie in, with their names, in the order in which a hand finds them."""
    names: Mapping[str, str] = _data("steps")["parts"]
    return names


@cache
def _data(name: str) -> Mapping[str, Any]:
    return tomllib.loads(files("service.core").joinpath("devices_data", f"{name}.toml").read_text("utf-8"))


@cache
def _shipped() -> Mapping[str, FaultCode]:
    return {code: read_code(code, entry) for code, entry in _data("faults").items()}


def read_code(code: str, entry: Mapping[str, Any]) -> FaultCode:
    """A fault code as its entry in the shipped catalogue says it. Raises KeyError for a part that is left out, and
    ValueError for a kind of device or a severity that there is not.
    """
    lines = {key: [_line(written) for written in entry[key]] for key in LINES}
    text = {key: tuple(line for line, _ in said) for key, said in lines.items()}
    return FaultCode(
        code=code,
        label=entry["label"],
        devices=tuple(DeviceKind(kind) for kind in entry["devices"]),
        severity=Severity(entry["severity"]),
        in_class=entry["in_class"],
        part=entry["part"],
        remedy=text["remedy"],
        never=text["never"],
        cautions=text["cautions"],
        seen=text["seen"],
        only={line: only for said in lines.values() for line, only in said if only != EVERYBODY},
        at_once=entry.get("at_once", False),
        guardian_now=entry.get("guardian_now", False),
        nurse_now=entry.get("nurse_now", False),
    )


def _line(written: str | Mapping[str, Any]) -> tuple[str, Only]:
    """A line of the catalogue, which may say beside its text for whom it is."""
    if isinstance(written, str):
        return written, EVERYBODY
    skill = written.get("skill")
    return written["text"], Only(
        tuple(written.get("forms", ())),
        tuple(written.get("power", ())),
        written.get("part"),
        Skill(skill) if skill else None,
    )


def _own(text: FaultText) -> FaultCode:
    """A district's own code; what it leaves out is taken carefully: any device, same day, no remedy."""
    remedy = text.remedy or ()
    return FaultCode(
        code=text.code,
        label=text.label or text.code,
        devices=tuple(DeviceKind) if text.devices is None else text.devices,
        severity=text.severity or Severity.SAME_DAY,
        in_class=bool(remedy),
        remedy=remedy,
        never=text.never or (),
        seen=(text.label or text.code,),
        try_for=text.try_for,
    )


def _overlaid(shipped: FaultCode, text: FaultText) -> FaultCode:
    own = replace(
        shipped,
        label=shipped.label if text.label is None else text.label,
        devices=shipped.devices if text.devices is None else text.devices,
        severity=text.severity or shipped.severity,
        remedy=shipped.remedy if text.remedy is None else text.remedy,
        never=shipped.never if text.never is None else text.never,
        try_for=text.try_for,
    )
    own = replace(own, in_class=shipped.in_class and bool(own.remedy))
    if not shipped.at_once:
        return own
    kept = tuple(line for line in shipped.never if line not in own.never)
    graver = max(own.severity, shipped.severity, key=SEVERITIES.index)
    return replace(own, severity=graver, never=own.never + kept)


def _step(step: Mapping[str, Any], kind: str, devices: tuple[Device, ...]) -> CheckStep:
    tool = "; ".join(_lines(step.get("tool", []), kind, devices)) or None
    skill = step.get("skill")
    return CheckStep(
        title=step["title"],
        sentences=_lines(step["say"], kind, devices),
        tool=tool,
        without_tool=step.get("without_tool") if tool else None,
        skill=Skill(skill) if skill else None,
        by_eye=_lines(step.get("by_eye", []), kind, devices),
        sounds=step.get("sounds", False),
    )


def _lines(lines: Iterable[Mapping[str, Any]], kind: str, devices: tuple[Device, ...]) -> tuple[str, ...]:
    two = {Side.LEFT, Side.RIGHT} <= {device.side for device in devices}
    return tuple(
        line["text"]
        for line in lines
        if any(_is_for(line, device) for device in devices)
        and (two or not line.get("two_sides"))
        and kind in line.get("checks", (kind,))
    )


def _is_for(line: Mapping[str, Any], device: Device) -> bool:
    """Whether a line of a step is for a device; one that is `stated` only where its power is known."""
    return (
        device.kind in line.get("devices", WORN)
        and is_of_form(device, line.get("forms", ()))
        and is_powered_by(device, line.get("power", ()))
        and not (line.get("stated") and device.power is None)
    )
