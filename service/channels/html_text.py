"""An HTML mail as the text that a reader sees: quotations marked by ">", signatures by their mark, nothing hidden.

The scanner is our own: the standard library's needs minutes for 64 kB of unfinished tags (measured, Python 3.11).
This one looks at every character once.
"""

import html
import re

MOST_CHARACTERS = 262_144
"""Characters of HTML that are looked at."""

_TAG = re.compile(r"(?P<end>/?)(?P<name>[a-zA-Z][a-zA-Z0-9:-]{0,30})")
_ATTRIBUTE = re.compile(
    r"\s(?P<name>class|id|style|data-smartmail)\s?=\s?(?:\"(?P<double>[^\"]*)\"|'(?P<single>[^']*)'|(?P<bare>[^\s\"'>]+))",
    re.I,
)
_TAG_CHARACTERS = 1000
"""Characters of a tag that are looked at for attributes."""

_HIDDEN = frozenset({"head", "style", "script", "title", "template", "noscript"})
_BLOCKS = frozenset({
    "p", "div", "tr", "li", "ul", "ol", "table", "h1", "h2", "h3", "h4", "h5", "h6", "section", "article", "pre",
    "blockquote", "address", "header", "footer",
})  # fmt: skip
_VOID = frozenset({"br", "hr", "img", "meta", "link", "input", "wbr", "area", "base", "col", "embed", "source"})
_SIGNATURES = ("gmail_signature", "ms-outlook-mobile-signature", "x_signature", "signature", "yahoo-signature")
_DEEPEST = 200


def text_of(source: str) -> str:
    """The text of an HTML mail; never raises."""
    reader = _Reader()
    source = source[:MOST_CHARACTERS]
    at = 0
    while at < len(source):
        tag = source.find("<", at)
        if tag < 0:
            tag = len(source)
        reader.words(source[at:tag])
        at = _behind(source, tag, reader)
    return reader.text()


def _behind(source: str, tag: int, reader: "_Reader") -> int:
    """Take what begins with the "<" at `tag`; says where the text goes on."""
    if source.startswith("<!--", tag):
        end = source.find("-->", tag + 4)
        return end + 3 if end >= 0 else len(source)
    found = _TAG.match(source, tag + 1)
    if found is None and not source.startswith(("<!", "<?"), tag):
        reader.words(source[tag : tag + 1])
        return tag + 1
    end = source.find(">", tag)
    if end < 0:
        return len(source)
    if found is not None and found["end"]:
        reader.ends(found["name"].lower())
    elif found is not None:
        reader.begins(found["name"].lower(), source[found.end() : min(end, found.end() + _TAG_CHARACTERS)])
    return end + 1


def _attributes(inside: str) -> dict[str, str]:
    return {
        found["name"].lower(): (found["double"] or found["single"] or found["bare"] or "").lower()
        for found in _ATTRIBUTE.finditer(inside)
    }


class _Reader:
    """Gathers lines while elements open and close; what is never closed ends with the mail."""

    def __init__(self) -> None:
        self._lines: list[str] = []
        self._line: list[str] = []
        self._depth = 0
        self._hidden: list[str] = []

    def text(self) -> str:
        """All lines, at most one blank one between two."""
        self._break()
        found: list[str] = []
        for line in self._lines:
            if line.strip("> ") or (found and found[-1].strip("> ")):
                found.append(line)
        return "\n".join(found)

    def begins(self, tag: str, inside: str) -> None:
        """Begin a line where one begins; hide what a reader does not see."""
        attributes = {} if self._hidden else _attributes(inside)
        hides = tag in _HIDDEN or "display:none" in attributes.get("style", "").replace(" ", "")
        if self._hidden or hides:
            if tag not in _VOID and len(self._hidden) < _DEEPEST:
                self._hidden.append(tag)
            return
        if tag in _BLOCKS or tag in ("br", "hr"):
            self._break()
        if tag == "blockquote":
            self._depth = min(self._depth + 1, 5)
        elif tag == "p":
            self._blank()
        elif tag == "hr":
            self._own_line("_" * 32)
        elif tag == "div" and _is_signature(attributes):
            self._own_line("-- ")

    def ends(self, tag: str) -> None:
        """End a line where one ends."""
        if self._hidden:
            if tag in self._hidden:
                while self._hidden.pop() != tag:
                    pass
            return
        if tag in _BLOCKS:
            self._break()
        if tag == "blockquote":
            self._depth = max(self._depth - 1, 0)

    def words(self, source: str) -> None:
        """Take words; line breaks of the source are blanks."""
        if source and not self._hidden:
            self._line.append(html.unescape(source))

    def _break(self) -> None:
        words = " ".join("".join(self._line).split())
        self._line.clear()
        if words:
            self._own_line(words)
        elif self._lines and self._lines[-1].strip("> "):
            self._own_line("")

    def _blank(self) -> None:
        if self._lines and self._lines[-1].strip("> "):
            self._own_line("")

    def _own_line(self, words: str) -> None:
        self._lines.append("> " * self._depth + words)


def _is_signature(attributes: dict[str, str]) -> bool:
    said = (attributes.get(name, "") for name in ("class", "id", "data-smartmail"))
    return any(word in _SIGNATURES for value in said for word in value.split())
