"""The drawings: whole, small, in the colour of the text, with every part a fault can lie in."""

import re
import xml.etree.ElementTree as ElementTree

import pytest

from service.core.devices import catalogue, part_names
from service.core.district import DeviceKind
from service.languages import offered, speaking
from service.web.drawings import drawing

SVG = "{http://www.w3.org/2000/svg}"
NOT_DRAWN = {"whole", "child"}
WIDE_LETTER = 0.6
"""Of the size of the type, in a wide font; measured in a browser on two words."""
KINDS = pytest.mark.parametrize("kind", DeviceKind)


def parts(kind: DeviceKind) -> dict[str, ElementTree.Element]:
    groups = ElementTree.fromstring(drawing(kind)).iter(f"{SVG}g")
    return {group.attrib["id"].removeprefix("part-"): group for group in groups if "id" in group.attrib}


@KINDS
def test_every_fault_of_a_device_lies_in_a_part_that_is_drawn(kind: DeviceKind) -> None:
    needed = {code.part for code in catalogue().values() if kind in code.devices}
    assert needed - NOT_DRAWN == set(parts(kind))


@KINDS
def test_every_part_is_named_for_eyes_and_for_screen_readers(kind: DeviceKind) -> None:
    for part, group in parts(kind).items():
        assert group.findtext(f"{SVG}title") == part_names()[part]
        assert group.findtext(f"{SVG}text") == part_names()[part]


@pytest.mark.parametrize("language", sorted(offered()))
@KINDS
def test_a_name_of_a_part_stays_within_the_drawing(kind: DeviceKind, language: str) -> None:
    with speaking(language):
        drawn = ElementTree.fromstring(drawing(kind))
    width, letter = float(drawn.attrib["viewBox"].split()[2]), WIDE_LETTER * float(drawn.attrib["font-size"])
    for text in drawn.iter(f"{SVG}text"):
        x, long = float(text.attrib["x"]), letter * len(text.text or "")
        left = x - long if text.get("text-anchor") == "end" else x
        assert left >= 0, text.text
        assert left + long <= width, text.text


@KINDS
def test_a_drawing_takes_the_colour_of_the_text_around_it_and_loads_nothing(kind: DeviceKind) -> None:
    text = drawing(kind)
    assert set(re.findall(r'(?:stroke|fill)="([^"]*)"', text)) <= {"currentColor", "none"}
    assert not re.search(r"href|<script|<style|<image|url\(|http(?!://www\.w3\.org/2000/svg)", text)


@KINDS
def test_a_drawing_is_under_four_kilobytes(kind: DeviceKind) -> None:
    assert len(drawing(kind).encode()) < 4000


def test_two_drawings_on_a_page_keep_their_parts_apart() -> None:
    assert 'id="s2-part-cable"' in drawing(DeviceKind.COCHLEAR_IMPLANT, "s2-")
    assert 'id="part-' not in drawing(DeviceKind.COCHLEAR_IMPLANT, "s2-")


def test_a_prefix_that_cannot_begin_an_id_is_refused() -> None:
    with pytest.raises(ValueError, match="letters, digits and hyphens"):
        drawing(DeviceKind.HEARING_AID, '"><script>')
