"""Which fault a breath speaks of, and on which of the student's devices it can be."""

from collections.abc import Mapping, Sequence

from service.core.district import Device, DeviceKind, Side
from service.core.reading import AskedStudent, Fault
from service.core.replies.segment import Segment
from service.core.sounds import SIX

_AID, _IMPLANT = DeviceKind.HEARING_AID, DeviceKind.COCHLEAR_IMPLANT
_BONE, _MIC = DeviceKind.BONE_CONDUCTION, DeviceKind.REMOTE_MIC
_WORN = (_AID, _IMPLANT, _BONE)

# Devices a code applies to; codes not listed apply to whatever is worn. Common practice, no source.
_FITS: Mapping[str, tuple[DeviceKind, ...]] = {
    "CABLE": (_IMPLANT,),
    "COIL": (_IMPLANT,),
    "MAGNET": (_IMPLANT, _BONE),
    "MOULD": (_AID,),
    "WHISTLE": (_AID, _BONE),
    "LINK": (_MIC,),
    "BAND": (_BONE,),
    "KNOCK": (_IMPLANT,),
    "UNWELL": (_IMPLANT,),
}

# Symptoms that stand whatever part is named beside them; the others give way to the part.
_STRONG = frozenset(
    {"SWALLOWED", "UNWELL", "SORE", "KNOCK", "HOME", "LOST", "REFUSED", "WET", "SWAP", "WHISTLE", "MAGNET", "OTHER"}
)
# A symptom that the student's devices cannot have, read as the nearest one they can.
_NEAREST: Mapping[str, str] = {
    "MAGNET": "HOOK",
    "CABLE": "OTHER",
    "COIL": "OTHER",
    "KNOCK": "OTHER",
    "UNWELL": "SORE",
    "MOULD": "OTHER",
    "BAND": "OTHER",
}
_GRAVE = ("SWALLOWED", "UNWELL", "KNOCK", "SORE")


def codes_said(segment: Segment) -> tuple[str, ...]:
    """The fault codes of one breath: a part with a symptom is one fault, a bare part is that part's."""
    parts = _values(segment, "parts")
    symptoms = _values(segment, "faults")
    if segment.says("missing"):
        unheard = "LINK" in parts and set(SIX) <= set(segment.missed)
        return ("LINK",) if unheard else ("SOUND",)
    strong = [s for s in symptoms if s in _STRONG]
    parted = list(dict.fromkeys(item.value for item in segment.said if item.role == "faults" and item.part))
    if strong == ["MAGNET"] and parted and parted != ["MAGNET"]:
        return tuple(parted)
    if strong == ["HOME"] and parts and any(item.text.startswith("in ") for item in segment.said):
        strong = []
    grave = [s for s in _GRAVE if s in strong]
    if grave:
        return tuple(grave[:1])
    if strong == ["SWAP"] and "BAT" in parts:
        return ("BAT",)
    if strong == ["MAGNET"] and parts and parts[0] not in ("COIL", "MAGNET"):
        strong = []
    if strong:
        return tuple(dict.fromkeys(strong))
    if parts:
        return _part_codes(parts, symptoms)
    if symptoms:
        return tuple(dict.fromkeys(symptoms))
    if segment.says("bad"):
        power = any(item.role == "bad" and item.value == "power" for item in segment.said)
        return ("POWER",) if power else ("OTHER",)
    return ("OTHER",) if segment.says("dead") else ()


def _values(segment: Segment, role: str) -> list[str]:
    return list(dict.fromkeys(item.value for item in segment.said if item.role == role))


def _part_codes(parts: Sequence[str], symptoms: Sequence[str]) -> tuple[str, ...]:
    if "LINK" in parts:
        return ("LINK",)
    if "LINK" in symptoms and "MIC" in parts:
        return ("LINK",)
    if "BAT" in parts and set(parts) & {"POWER", "OTHER"}:
        return ("BAT",)
    return tuple(parts)


def is_about_a_part(segment: Segment) -> bool:
    """Whether a part of a device is named in so many words."""
    return any(item.role == "parts" or (item.role == "faults" and item.part) for item in segment.said)


def is_named(device: Device, named: Sequence[str], student: AskedStudent) -> bool:
    """Whether words such as "CI", "processor" or "aid" mean `device` among the student's."""
    if device.kind.value in named:
        return True
    if "processor" in named:
        return device.kind in (_IMPLANT, _BONE)
    return _AID.value in named and device.kind is _BONE and all(d.kind is not _AID for d in student.devices)


def place(
    student: AskedStudent,
    code: str,
    segment: Segment,
    side: Side | None,
    both: bool,
    kinds_of_code: Mapping[str, tuple[str, ...]],
) -> tuple[Fault, ...]:
    """The fault on the student's devices; empty where no device of theirs can have it or the side is not theirs."""
    kinds = tuple(DeviceKind(k) for k in kinds_of_code.get(code, ())) or _FITS.get(code, _WORN)
    fitting = [d for d in student.devices if d.kind in kinds]
    if not fitting and code in _NEAREST and not is_about_a_part(segment):
        code = _NEAREST[code]
        fitting = [d for d in student.devices if d.kind in _FITS.get(code, _WORN)]
    if code in _GRAVE or code in ("WET", "LOST"):
        fitting = _with_part(fitting, segment)
    if segment.devices:
        fitting = [d for d in fitting if is_named(d, segment.devices, student)] or (
            fitting if code == "LINK" else []
        )
    sides = [side] if side else list(dict.fromkeys(segment.sides))
    if code == "LINK":
        return (Fault(code),) if fitting else ()
    if code in ("SWALLOWED", "SWAP", *_GRAVE) and not fitting:
        return (Fault(code),)
    if code == "SWAP" and both:
        return (Fault(code),)
    if code in ("SWAP", "KNOCK", "UNWELL") and not sides and len(fitting) != 1:
        return (Fault(code),)
    return _sided(code, fitting, sides, both)


def _with_part(fitting: list[Device], segment: Segment) -> list[Device]:
    """Those devices that have the part named beside the symptom ("the mould rubs": the hearing aid)."""
    parts = _values(segment, "parts")
    return [d for d in fitting if all(d.kind in _FITS.get(part, _WORN) for part in parts)] or fitting


def _sided(code: str, fitting: Sequence[Device], sides: Sequence[Side], both: bool) -> tuple[Fault, ...]:
    theirs = [d.side for d in fitting if d.side is not None]
    if not fitting:
        return ()
    if both and len(theirs) > 1:
        return tuple(Fault(code, s) for s in theirs)
    if sides:
        named = tuple(Fault(code, s) for s in sides if s in theirs)
        return named if len(named) == len(sides) else ()
    return (Fault(code, theirs[0] if len(theirs) == 1 else None),)
