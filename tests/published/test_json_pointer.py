"""JSON Pointer against the example document and results of RFC 6901 section 5 (from memory)."""

import pytest

from service.channels.pointer import follow

DOCUMENT = {
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("", DOCUMENT),
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_a_pointer_leads_to_its_value(pointer: str, value: object):
    assert follow(DOCUMENT, pointer) == value


@pytest.mark.parametrize(
    "pointer", ["foo", "/none", "/foo/2", "/foo/-", "/foo/01", "/foo/-1", "/foo/²", "/foo/x", "/a~1b/c"]
)
def test_a_pointer_to_nothing_leads_to_none(pointer: str):
    assert follow(DOCUMENT, pointer) is None
