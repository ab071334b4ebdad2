"""The JSON shape of a webhook channel: any structure, with `{field}` in its leaves."""

import math
import re
from dataclasses import dataclass

from service.setup.kinds import NOTHING, Path, Reading
from service.setup.secrets import looks_secret
from service.setup.tree import Node, Row, Word
from service.setup.words import LONGEST

_WHOLE = re.compile(r"[-+]?\d{1,15}")
_FRACTION = re.compile(r"[-+]?(?:\d+\.\d*|\.\d+)(?:[eE][-+]?\d{1,3})?")
_CONSTANTS: dict[str, object] = {"true": True, "false": False, "null": None, "~": None, "": None}


@dataclass(frozen=True)
class TemplateKind:
    """A structure that becomes JSON; unquoted numbers, true, false and null keep their JSON types."""

    def read(self, node: Node, path: Path, to: Reading) -> object:
        """The stored form, which is the JSON structure itself."""
        to.places[path] = (node.file, node.line)
        if isinstance(node, Word):
            return self._leaf(node, to)
        if isinstance(node, Row):
            items = [self.read(item, (*path, n), to) for n, item in enumerate(node.items)]
            return NOTHING if NOTHING in items else items
        bare = [
            word for word, value in node.pairs if isinstance(value, Word) and value.plain and not value.text
        ]
        if bare:
            return to.refuse(
                bare[0], f"{{{bare[0].text}}} stands without quotes", f'write "{{{bare[0].text}}}"'
            )
        long = [word for word, _ in node.pairs if len(word.text) > LONGEST]
        if long:
            return to.refuse(long[0], f"a key has more than {LONGEST} characters", "shorten it")
        parts = {word.text: self.read(value, (*path, word.text), to) for word, value in node.pairs}
        return NOTHING if NOTHING in parts.values() else parts

    def _leaf(self, node: Word, to: Reading) -> object:
        if looks_secret(node.text):
            return to.refuse(
                node, "a secret is written into the folder", "put it in the channel's address by name"
            )
        return plain_value(node.text) if node.plain else node.text


def plain_value(text: str) -> object:
    """What an unquoted word means in the core schema of YAML 1.2."""
    if text in _CONSTANTS:
        return _CONSTANTS[text]
    if _WHOLE.fullmatch(text):
        return int(text)
    if _FRACTION.fullmatch(text) and math.isfinite(float(text)):
        return float(text)
    return text
