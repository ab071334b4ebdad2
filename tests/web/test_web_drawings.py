"""The drawings: whole, small, in the colour of the text, with every part a fault can lie in."""

import re
import xml.etree.ElementTree as ElementTree

import pytest

from service.core.devices import catalogue, part_names
from service.core.district import Device, DeviceKind, Form
from service.core.forms import EVERYWHERE, Made, forms
from service.languages import offered, speaking
from service.web.drawings import drawing

SVG = "{http://www.w3.org/2000/svg}"
WIDE_LETTER = 0.6
"""Of the size of the type, in a wide font; measured in a browser on two words."""
KINDS = pytest.mark.parametrize("made", forms(), ids=lambda made: f"{made.kind} {made.form or ''}")


def parts(made: Made) -> dict[str, ElementTree.Element]:
    groups = ElementTree.fromstring(drawing(made.kind, "", made.form)).iter(f"{SVG}g")
    return {group.attrib["id"].removeprefix("part-"): group for group in groups if "id" in group.attrib}


@KINDS
def test_every_fault_of_a_device_lies_in_a_part_that_is_drawn(made: Made) -> None:
    worn = Device(made.kind, form=made.form)
    needed = {code.part_of(seen) for code in catalogue().values() for seen in code.seen_on(worn)}
    assert needed - EVERYWHERE == set(parts(made)) == made.parts


@KINDS
def test_every_part_is_named_for_eyes_and_for_screen_readers(made: Made) -> None:
    for part, group in parts(made).items():
        assert group.findtext(f"{SVG}title") == part_names()[part]
        assert group.findtext(f"{SVG}text") == part_names()[part]


@pytest.mark.parametrize("language", sorted(offered()))
@KINDS
def test_a_name_of_a_part_stays_within_the_drawing(made: Made, language: str) -> None:
    with speaking(language):
        drawn = ElementTree.fromstring(drawing(made.kind, "", made.form))
    width, letter = float(drawn.attrib["viewBox"].split()[2]), WIDE_LETTER * float(drawn.attrib["font-size"])
    for text in drawn.iter(f"{SVG}text"):
        x, long = float(text.attrib["x"]), letter * len(text.text or "")
        left = x - long if text.get("text-anchor") == "end" else x
        assert left >= 0, text.text
        assert left + long <= width, text.text


@KINDS
def test_a_drawing_takes_the_colour_of_the_text_around_it_and_loads_nothing(made: Made) -> None:
    text = drawing(made.kind, "", made.form)
    assert set(re.findall(r'(?:stroke|fill)="([^"]*)"', text)) <= {"currentColor", "none"}
    assert not re.search(r"href|<script|<style|<image|url\(|http(?!://www\.w3\.org/2000/svg)", text)


@KINDS
def test_a_drawing_is_under_four_kilobytes(made: Made) -> None:
    assert len(drawing(made.kind, "", made.form).encode()) < 4000


def test_each_form_has_a_drawing_of_its_own_and_the_usual_one_where_nobody_said() -> None:
    files = {made: drawing(made.kind, "", made.form) for made in forms()}
    assert len(set(files.values())) == len(files) - 1, "a band is what is drawn where nobody said how it is worn"
    assert drawing(DeviceKind.COCHLEAR_IMPLANT) == drawing(DeviceKind.COCHLEAR_IMPLANT, "", Form.CABLE_AND_COIL)


def test_two_drawings_on_a_page_keep_their_parts_apart() -> None:
    assert 'id="s2-part-cable"' in drawing(DeviceKind.COCHLEAR_IMPLANT, "s2-")
    assert 'id="part-' not in drawing(DeviceKind.COCHLEAR_IMPLANT, "s2-")


def test_a_prefix_that_cannot_begin_an_id_is_refused() -> None:
    with pytest.raises(ValueError, match="letters, digits and hyphens"):
        drawing(DeviceKind.HEARING_AID, '"><script>')
