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
from service.core.district import DeviceKind
from service.languages import N_, gettext, spoken

LABELS: Mapping[DeviceKind, str] = {
    DeviceKind.HEARING_AID: N_("A hearing aid behind the ear, with earmould"),
    DeviceKind.COCHLEAR_IMPLANT: N_("A sound processor behind the ear, with cable and coil"),
    DeviceKind.BONE_CONDUCTION: N_("A bone-conduction processor on a band, behind the ear"),
    DeviceKind.REMOTE_MIC: N_("A classroom microphone on a cord round the teacher's neck"),
}


NEAR = N_("15 cm (6 in)")
"""How far from the mouth a classroom microphone is worn."""


def drawing(kind: DeviceKind, prefix: str = "") -> str:
    """The drawing of a kind of device as SVG text to stand in a page. `prefix` goes before the ids of the
    parts, for a page that shows several drawings; letters, digits and hyphens only, else ValueError.
    """
    if prefix and not prefix.replace("-", "").isalnum():
        raise ValueError(f"{prefix!r} cannot begin an id; letters, digits and hyphens can")
    return _drawn(kind, spoken()).replace('id="part-', f'id="{prefix}part-')


@cache
def _drawn(kind: DeviceKind, _language: str) -> str:
    names = {part: escape(gettext(name)) for part, name in part_names().items()}
    words = names | {"label": escape(gettext(LABELS[kind])), "near": escape(gettext(NEAR))}
    return Template(files("service.web.drawings").joinpath(f"{kind}.svg").read_text("utf-8")).substitute(
        words
    )
