"""The forms of a device: the parts that it has, and which lines of a text hold for it.

What each form is made of lies in `devices_data/forms.toml`. A line of the catalogues that names forms or a way of
being powered holds for a device of which that is true, or of which nobody has said.
"""

import tomllib
from collections.abc import Collection
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from service.core.district import Device, DeviceKind, Form, Power

UNSAID = "unsaid"
"""In a line's forms: a processor of which nobody has said how it is worn."""

CELL = "cell"
"""In a line's power: a cell of any size."""

EVERYWHERE = frozenset({"whole", "child"})
"""Parts that no drawing shows and every device has."""


@dataclass(frozen=True)
class Made:
    """How a kind of device in one form is made; `form` is None for a kind that has one only, or of which nobody
    has said more. `implanted`: a part of it is surgically implanted (34 CFR 300.113(b)(2)).
    """

    kind: DeviceKind
    form: Form | None
    parts: frozenset[str]
    implanted: bool = False


@cache
def forms() -> tuple[Made, ...]:
    """Every form of every kind; the first of a kind is meant where nobody has said."""
    text = files("service.core").joinpath("devices_data", "forms.toml").read_text("utf-8")
    return tuple(
        Made(
            DeviceKind(entry["kind"]),
            Form(entry["form"]) if "form" in entry else None,
            frozenset(entry["parts"]),
            entry.get("implanted", False),
        )
        for entry in tomllib.loads(text)["form"]
    )


def forms_of(kind: DeviceKind) -> tuple[Form, ...]:
    """The forms that a coordinator can name for a kind; none where it has one only."""
    return tuple(made.form for made in forms() if made.kind is kind and made.form is not None)


@cache
def made_as(kind: DeviceKind, form: Form | None) -> Made:
    """How a device is made; the usual form where nobody has said, or the one said is none of this kind."""
    own = [made for made in forms() if made.kind is kind]
    return next((made for made in own if made.form is form), own[0])


def shape_of(device: Device) -> Made:
    """How this device is made."""
    return made_as(device.kind, device.form)


def has_part(device: Device, part: str) -> bool:
    """Whether a fault in `part` can lie on the device. A part that no form of its kind has counts as everywhere: a
    district may say a code of a device that we draw without it.
    """
    known = {name for made in forms() if made.kind is device.kind for name in made.parts}
    return part in EVERYWHERE or part not in known or part in shape_of(device).parts


def is_of_form(device: Device, named: Collection[str]) -> bool:
    """Whether a line for the forms `named` (none: for all) holds for the device."""
    form = shape_of(device).form
    return not named or (form.value if form is not None else UNSAID) in named


def is_powered_by(device: Device, named: Collection[str]) -> bool:
    """Whether a line for what is powered so (none: however) holds; it does where nobody has said."""
    if not named or device.power is None:
        return True
    return (Power.RECHARGEABLE.value if device.power is Power.RECHARGEABLE else CELL) in named
