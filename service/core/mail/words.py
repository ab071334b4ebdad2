"""The person's own words out of what a mail program sent: no quotes, banners, signatures or notices.

Two caps keep it short: so much of a text is read at all (`MOST_READ`; below ten quoted prompts there may stand
an answer), and so much of the person's own is kept (`MOST_CHARACTERS`, `MOST_LINES`). Between them lies one pass
over the lines. An answer that stands between two quotations may point at the line above it, which is lost with
the quotation, so it is said to be doubtful.
"""

import re
from dataclasses import dataclass, field

from service.core.mail import signs

MOST_READ = 65_536
MOST_CHARACTERS = 2048
MOST_LINES = 20

_SHORT = 60
_AHEAD = 12
"""Lines looked at below a name or a closing."""

_DIGIT = re.compile(r"\d")
_INVISIBLE = {ord(sign): None for sign in "\ufeff\u200b\u2060"}
_AUTOMATIC_SIGNS = (
    "auto", "office", "desk", "oficina", "bureau", "access", "abwesen", "i am", "i will", "mailbox", "away from",
    "respond", "received", "contacting",
)  # fmt: skip


def own_words(text: str) -> tuple[str, bool]:
    """What the person wrote themselves, and whether it may say less than they meant: it went on beyond the cap, or
    stands between quotations.

    Empty where there is nothing of theirs, or a machine wrote it.
    """
    text = signs.TAG.sub("", text, count=1) if signs.TAG.match(text) else text
    if len(text) < _SHORT and "\n" not in text and "\r" not in text:
        return _own_line(text), False
    lines = text[:MOST_READ].translate(_INVISIBLE).replace("\r\n", "\n").replace("\r", "\n").split("\n")
    own = _Own(lines)
    own.read()
    words = "\n".join(own.kept).strip()
    doubtful = own.cut or own.between or (len(text) > MOST_READ and not own.ended)
    return ("", False) if is_automatic(words) else (words, doubtful)


def is_automatic(words: str) -> bool:
    """Whether a program that answers in its owner's absence could have written this."""
    low = words.lower()
    return any(sign in low for sign in _AUTOMATIC_SIGNS) and bool(signs.AUTOMATIC.search(words))


def _own_line(text: str) -> str:
    own = text.strip()
    footer = " " in own and ":" not in own and _is_footer(own)
    foreign = is_automatic(own) or signs.NOTICE.match(own) or footer
    return "" if foreign else signs.INLINE_FOOTER.sub("", text)


@dataclass
class _Own:
    """One pass over the lines of a mail: what was kept, and how it came to its end."""

    lines: list[str]
    kept: list[str] = field(default_factory=list)
    ended: bool = False
    cut: bool = False
    between: bool = False
    _size: int = 0
    _quoted: bool = False
    _after_quote: bool = False

    def read(self) -> None:
        """Go through the lines until nothing of the person's own can follow."""
        last_quoted = max((n for n, line in enumerate(self.lines) if _is_quoted(line)), default=-1)
        at = 0
        while at < len(self.lines) and not (self.ended or self.cut):
            at = self._step(at, last_quoted)
        if self.lines and _is_quoted(self.lines[-1]):
            self.ended = True

    def _step(self, at: int, last_quoted: int) -> int:
        """Take the line at `at`; says where to go on."""
        line, after = self._line(at), self._line(at + 1)
        if _starts_tail(line, after):
            self.ended = True
        elif (heads := self._quote_head(at)) > 0:
            self.ended = last_quoted < at + heads
            return at + heads
        elif any(self.kept) and self._ends_by_name(at, line):
            self._postscript(at + 1)
            self.ended = True
        elif _is_quoted(line):
            self._quote(line)
        elif _is_banner(line):
            return self._below_banner(at + 1)
        elif not _is_footer(line):
            self._keep(line)
        return at + 1

    def _line(self, at: int) -> str:
        return _unbolded(self.lines[at].strip()) if at < len(self.lines) else ""

    def _ends_by_name(self, at: int, line: str) -> bool:
        below = self.lines[at + 1 : at + 1 + _AHEAD]
        if not self.kept[-1] and _is_signature(line, below):
            return True
        return bool(signs.CLOSING.match(line[: signs.LONGEST])) and _only_a_name_follows(below)

    def _quote_head(self, at: int) -> int:
        """How many lines from here only say who wrote what is quoted below; none: 0."""
        line, after = self._line(at)[: signs.LONGEST], self._line(at + 1)[: signs.LONGEST]
        if _tells_who_wrote(line):
            return 1
        begins = signs.HEAD_START.match(line)
        if begins and after.endswith(signs.HEAD_ENDS) and signs.WROTE.search(after):
            return 2
        if _may_tell(line) and self._quote_follows(at + 1):
            return 1
        return 2 if begins and _may_tell(after) and self._quote_follows(at + 2) else 0

    def _quote_follows(self, at: int) -> bool:
        below = (line for line in self.lines[at : at + 3] if line.strip())
        return _is_quoted(next(below, ""))

    def _below_banner(self, at: int) -> int:
        """Behind the rest of a banner that was broken into lines."""
        while at < len(self.lines) and signs.BANNER_GOES_ON.match(self._line(at)[: signs.LONGEST]):
            at += 1
        return at

    def _quote(self, line: str) -> None:
        if line.strip(">| \t"):
            self.between = self.between or self._after_quote
            self._quoted = True

    def _keep(self, line: str) -> None:
        if line:
            self._after_quote = self._quoted
        self._size += len(line) + 1
        if len(self.kept) == MOST_LINES or self._size > MOST_CHARACTERS:
            room = MOST_CHARACTERS - (self._size - len(line) - 1)
            self.kept += [line[:room]] if room > 0 and len(self.kept) < MOST_LINES else []
            self.cut = True
        else:
            self.kept.append(line)

    def _postscript(self, at: int) -> None:
        """What is added below the name: "P.S. Ada's cable is loose", up to a quotation or a footer."""
        added = False
        for n in range(at, len(self.lines)):
            line = self._line(n)
            if added and (_is_quoted(line) or _starts_tail(line, "") or self._quote_head(n)):
                return
            added = added or bool(signs.POSTSCRIPT.match(line))
            if added and not (_is_footer(line) or _is_banner(line)):
                self._keep(line)
            if self.cut:
                return


def _unbolded(line: str) -> str:
    """`line` without the stars that plain text puts around bold words."""
    return line[1:-1] if line.strip("*") and line[0] == line[-1] == "*" else line


def _is_quoted(line: str) -> bool:
    return line.lstrip().startswith((">", "|"))


def _tells_who_wrote(line: str) -> bool:
    """"On Monday Ada wrote:", and the same with an address where the first word is none of those we know."""
    found = list(signs.WROTE.finditer(line))
    if not found:
        return False
    if signs.QUOTE_HEAD.match(line):
        return line[found[-1].end() :].strip() in ("", ":")
    return _may_tell(line) and "@" in line and any(sign.isdigit() for sign in line)


def _may_tell(line: str) -> bool:
    """Whether a line may say who wrote when, in whatever language; what follows it decides."""
    return line.endswith(signs.HEAD_ENDS) and ("@" in line or any(sign.isdigit() for sign in line))


def _starts_tail(line: str, after: str) -> bool:
    """Whether nothing from `line` on is the person's: signature mark, forwarded block, footer, notice."""
    line, after = line[: signs.LONGEST], after[: signs.LONGEST]
    if signs.SIGNATURE.match(line) or signs.NOTICE.match(line) or signs.RULE.match(line):
        return True
    if signs.FORWARD.match(line):
        return True
    if signs.HEADER_DATE.match(line) and signs.HEADER_ANY.match(after):
        return True
    return bool(signs.HEADER.match(line) and signs.HEADER_NEXT.match(after))


def _is_footer(line: str) -> bool:
    line = line[: signs.LONGEST]
    if found := signs.SENT_FROM_MY.match(line):
        return len(found["what"].split()) <= 5 or bool(signs.EXCUSE.match(line))
    return bool(signs.FOOTER.match(line))


def _is_banner(line: str) -> bool:
    return bool(signs.BANNER.match(line[: signs.LONGEST]) or signs.BARE_BANNER.match(line[: signs.LONGEST]))


def _is_signature(line: str, rest: list[str]) -> bool:
    """A name alone on its line after a blank one, with a post, a school or a telephone beside or below it."""
    name, bar, _ = line[: signs.LONGEST].partition("|")
    words = name.replace(",", " ").split()
    if not 1 < len(words) <= 5 or not all(word[0].isupper() and not _DIGIT.search(word) for word in words):
        return False
    below = next((other for other in (r.strip() for r in rest) if other), "")
    return bool(bar or signs.CONTACT.match(below[: signs.LONGEST]))


def _only_a_name_follows(rest: list[str]) -> bool:
    """A closing line ends the message where the next line written looks like a name: capitals, no digits."""
    following = next((line.split() for line in (r.strip() for r in rest) if line), [])
    return len(following) <= 4 and all(word[0].isupper() and not _DIGIT.search(word) for word in following)
