import json

import pytest
from channel_parcels import parcel
from hypothesis import given
from hypothesis import strategies as st

from service.channels.template import DEFAULT, FIELDS, fill, problems_of, values_of


def filled(template: object, **changed: object) -> object:
    """What a receiver reads when this template is filled from the prompt."""
    assert problems_of(template) == ()
    return json.loads(fill(template, values_of(parcel(**changed), "l-teal")))


def test_fields_are_filled_in_wherever_the_structure_has_text():
    template = {"blocks": [{"say": "{subject}: {text}"}], "silent": False, "version": 2, "extra": None}
    said = "2 checks by 08:20: ok?"
    assert filled(template, text="ok?") == {
        "blocks": [{"say": said}],
        "silent": False,
        "version": 2,
        "extra": None,
    }


def test_a_lone_field_without_a_value_is_null_and_inside_text_it_is_nothing():
    assert filled({"a": "{link}", "b": "see {link}."}, link=None) == {"a": None, "b": "see ."}


def test_doubled_braces_are_braces():
    assert filled({"a": "{{text}} {{"}) == {"a": "{text} {"}


def test_names_in_the_structure_are_left_as_they_are():
    assert filled({"{text}": "x"}) == {"{text}": "x"}


@given(st.text())
def test_no_text_can_leave_its_place_in_the_json(text: str):
    assert filled({"a": "{text}", "b": "<{text}>"}, text=text) == {"a": text, "b": f"<{text}>"}


def test_without_a_template_every_field_goes_under_its_own_name():
    sent = filled(DEFAULT, in_reply_to="msg-1")
    assert set(sent) == set(FIELDS)
    assert sent["in_reply_to"] == "msg-1"
    assert sent["thread"] is None
    assert sent["at"] == "2026-10-05T13:05:00+00:00"


def test_the_key_and_the_token_of_the_mail_address_are_no_fields():
    assert "msg" in filled(DEFAULT, reply_token="t0ken")["id"]
    assert b"t0ken" not in fill(DEFAULT, values_of(parcel(reply_token="t0ken"), "l-teal"))


def test_an_unknown_field_is_named_with_its_place_and_the_nearest_known_one():
    assert problems_of({"blocks": [{"say": "{txet}"}]}) == (
        "template.blocks[0].say: unknown field {txet}; did you mean {text}?",
    )


def test_a_field_unlike_any_other_brings_the_list_of_all():
    (problem,) = problems_of("{zzzz}")
    assert all(name in problem for name in FIELDS)


@pytest.mark.parametrize(
    "leaf", ["{text.__class__}", "{text[0]}", "{text!r}", "{text:>9}", "{}", "{0}", "{text:{id}}"]
)
def test_a_field_is_a_name_and_nothing_more(leaf: str):
    assert len(problems_of({"a": leaf})) == 1


@pytest.mark.parametrize("leaf", ["{text", "text}", "{text}}", "{"])
def test_a_single_brace_is_found(leaf: str):
    (problem,) = problems_of({"a": leaf})
    assert "brace" in problem


def test_further_fields_hold_once_they_are_announced():
    assert problems_of("{school}") != ()
    assert problems_of("{school}", ["school"]) == ()
    values = values_of(parcel(fields={"school": "hollow-road", "text": "not this"}), "")
    assert json.loads(fill({"s": "{school}", "t": "{text}"}, values)) == {
        "s": "hollow-road",
        "t": parcel().text,
    }


def test_what_json_cannot_say_is_found():
    (problem,) = problems_of({"a": {1, 2}})
    assert "template.a" in problem
