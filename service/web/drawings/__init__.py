"""Drawings of each kind of device: our own, in one style, with the parts that a fault can lie in.

Each part is a group with the id `part-NAME`, NAME as in `FaultCode.part`, and its name as title and label.
Lines take the colour of the text around them, so a drawing is right in light and dark.
"""

from collections.abc import Mapping
from functools import cache
from html import escape
from importlib.resources import files
from string import Template

from service.core.devices import part_names
from service.core.district import DeviceKind, Form
from service.core.forms import made_as
from service.languages import N_, gettext, spoken

DRAWN: Mapping[tuple[DeviceKind, Form | None], tuple[str, str]] = {
    (DeviceKind.HEARING_AID, None): ("hearing-aid", N_("A hearing aid behind the ear, with earmould")),
    (DeviceKind.COCHLEAR_IMPLANT, Form.CABLE_AND_COIL): (
        "cochlear-implant-cable-and-coil",
        N_("A sound processor behind the ear, with cable and coil"),
    ),
    (DeviceKind.COCHLEAR_IMPLANT, Form.SINGLE_UNIT): (
        "cochlear-implant-single-unit",
        N_("A sound processor in one piece, worn on the head above the ear"),
    ),
    (DeviceKind.BONE_CONDUCTION, None): (
        "bone-conduction",
        N_("A bone-conduction processor on a band, behind the ear"),
    ),
    (DeviceKind.BONE_CONDUCTION, Form.BAND): (
        "bone-conduction",
        N_("A bone-conduction processor on a band, behind the ear"),
    ),
    (DeviceKind.BONE_CONDUCTION, Form.ADHESIVE): (
        "bone-conduction-adhesive",
        N_("A bone-conduction processor on an adhesive, behind the ear"),
    ),
    (DeviceKind.BONE_CONDUCTION, Form.MAGNET): (
        "bone-conduction-magnet",
        N_("A bone-conduction processor held by a magnet, behind the ear"),
    ),
    (DeviceKind.BONE_CONDUCTION, Form.ABUTMENT): (
        "bone-conduction-abutment",
        N_("A bone-conduction processor on a post in the skin, behind the ear"),
    ),
    (DeviceKind.REMOTE_MIC, None): (
        "remote-mic",
        N_("A classroom microphone on a cord round the teacher's neck"),
    ),
}
"""The file of each kind and form, and what it shows."""

NEAR = N_("15 cm (6 in)")
"""How far from the mouth a classroom microphone is worn."""


def drawing(kind: DeviceKind, prefix: str = "", form: Form | None = None) -> str:
    """The drawing of a kind of device in a form (None: the usual one) as SVG text to stand in a page. `prefix` goes
    before the ids of the parts, for a page that shows several drawings; letters, digits and hyphens only, else
    ValueError.
    """
    if prefix and not prefix.replace("-", "").isalnum():
        raise ValueError(f"{prefix!r} cannot begin an id; letters, digits and hyphens can")
    return _drawn(kind, made_as(kind, form).form, spoken()).replace('id="part-', f'id="{prefix}part-')


@cache
def _drawn(kind: DeviceKind, form: Form | None, _language: str) -> str:
    file, label = DRAWN[kind, form]
    names = {part: escape(gettext(name)) for part, name in part_names().items()}
    words = names | {"label": escape(gettext(label)), "near": escape(gettext(NEAR))}
    return Template(files("service.web.drawings").joinpath(f"{file}.svg").read_text("utf-8")).substitute(words)
