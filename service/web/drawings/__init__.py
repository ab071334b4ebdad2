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

LABELS: Mapping[DeviceKind, str] = {
    DeviceKind.HEARING_AID: "A hearing aid behind the ear, with earmould",
    DeviceKind.COCHLEAR_IMPLANT: "A sound processor behind the ear, with cable and coil",
    DeviceKind.BONE_CONDUCTION: "A bone-conduction processor on a band, behind the ear",
    DeviceKind.REMOTE_MIC: "A classroom microphone on a cord round the teacher's neck",
}


def drawing(kind: DeviceKind, prefix: str = "") -> str:
    """The drawing of a kind of device as SVG text to stand in a page. `prefix` goes before the ids of the
    parts, for a page that shows several drawings; letters, digits and hyphens only, else ValueError.
    """
    if prefix and not prefix.replace("-", "").isalnum():
        raise ValueError(f"{prefix!r} cannot begin an id; letters, digits and hyphens can")
    return _drawn(kind).replace('id="part-', f'id="{prefix}part-')


@cache
def _drawn(kind: DeviceKind) -> str:
    words = {part: escape(name) for part, name in part_names().items()} | {"label": escape(LABELS[kind])}
    return Template(files("service.web.drawings").joinpath(f"{kind}.svg").read_text("utf-8")).substitute(
        words
    )
