"""Text to tokens: one folded form for every way a phone can type the same thing.

Folding: NFKC, case, accents, curly quotes, dashes, zero-width and direction marks, emoji skin tones and
variation selectors. A token is a run of letters, a run of digits, a line end or a run of one mark; so "2Rbat"
is `2`, `rbat`, and "1✅" is `1`, `✅`.
"""

import re
import unicodedata
from functools import lru_cache
from typing import NamedTuple

_PLAIN = {
    ord("’"): "'", ord("‘"): "'", ord("`"): "'", ord("´"): "'", ord("ʼ"): "'",
    ord("“"): '"', ord("”"): '"', ord("«"): '"', ord("»"): '"',
    ord("–"): "-", ord("—"): "-", ord("‐"): "-", ord("‑"): "-", ord("−"): "-",
    ord("…"): ".", ord("¿"): " ", ord("¡"): " ", ord("•"): ",", ord("·"): ",",
    ord("œ"): "oe", ord("æ"): "ae",
}  # fmt: skip
_TOKEN = re.compile(r"[^\W\d_]+(?:'[^\W\d_]+)*|\d+|\n|([^\w\s])\1*")
# Contractions that would be other words without their apostrophe.
_CONTRACTED = {
    "we're": "weare", "we'll": "wewill", "i'll": "iwill",
    "he'll": "hewill", "she'll": "shewill", "we'd": "wewould",
}
_JOINED = {
    (word, "not"): word + "nt"
    for word in (
        "is", "are", "was", "were", "do", "does", "did", "has", "have", "had", "would", "could", "should",
    )
} | {
    ("will", "not"): "wont", ("can", "not"): "cant", ("i", "am"): "im", ("i", "have"): "ive", ("i", "will"): "iwill",
    ("we", "are"): "weare", ("we", "will"): "wewill", ("they", "are"): "theyre", ("it", "is"): "its",
    ("he", "is"): "hes", ("she", "is"): "shes", ("that", "is"): "thats", ("what", "is"): "whats",
    ("you", "are"): "youre",
}  # fmt: skip
_INVISIBLE = ("Cf", "Mn", "Me", "Sk", "Cc", "Cs", "Co")
_INNER = re.compile(r"(?<=[^\W\d_])[^\x00-\x7f\w](?=[^\W\d_])")
_INSIDE = "\N{ZERO WIDTH JOINER}"
_ELIDED = 4  # "l'appareil" is "appareil"; "l's" is the letter
_OWNED_NUMBER = re.compile(r"(?<![\d:.])(\d{1,3})'?s\b")
_LETTER_RUN = re.compile(r"([^\W\d_])\1{2,}")


class Token(NamedTuple):
    """One token. `word` has lost its apostrophes; `owner` is the word before a final 's, else empty. A mark that
    stands between two letters is `inside` a word.
    """

    word: str
    owner: str = ""

    @property
    def inside(self) -> bool:
        """Whether this is a mark between two letters."""
        return self.owner == _INSIDE


def fold(text: str) -> str:
    """`text` in the one form that the word lists use."""
    if not text.isascii():
        text = unicodedata.normalize("NFKD", text.translate(_PLAIN)).translate(_PLAIN)
        text = "".join(c for c in text if c == "\n" or unicodedata.category(c) not in _INVISIBLE)
    return text.casefold().replace("\r", "\n").replace("`", "'")


def tokens(text: str) -> list[Token]:
    """The tokens of `text`, folded."""
    folded = _OWNED_NUMBER.sub(r"\1 ", fold(text))
    found = [_token(match[0]) for match in _TOKEN.finditer(folded)]
    if not folded.isascii():
        inner = {match.start() for match in _INNER.finditer(folded)}
        starts = [match.start() for match in _TOKEN.finditer(folded)] if inner else []
        for at, start in enumerate(starts):
            if start in inner:
                found[at] = Token(found[at].word, _INSIDE)
    return _joined(found)


def _joined(found: list[Token]) -> list[Token]:
    """`found` with "is not" as "isnt", "I am" as "im": the word lists need only one of the two."""
    joined: list[Token] = []
    before = ""
    for token in found:
        word = _JOINED.get((before, token.word))
        if word:
            joined[-1] = Token(word)
        else:
            joined.append(token)
        before = word or token.word
    return joined


@lru_cache(maxsize=4096)
def _token(raw: str) -> Token:
    if not raw[0].isalnum():
        return Token(raw[0])
    if "'" not in raw:
        return Token(raw)
    if raw in _CONTRACTED:
        return Token(_CONTRACTED[raw])
    if raw.startswith("l'") and len(raw) > _ELIDED:
        raw = raw[2:]
        if "'" not in raw:
            return Token(raw)
    owner = raw[:-2] if raw.endswith("'s") else ""
    return Token(raw.replace("'", ""), owner.replace("'", ""))


def shortened(word: str) -> tuple[str, ...]:
    """`word` with runs of three or more equal letters cut to two and to one ("okkk" -> "okk", "ok")."""
    if not _LETTER_RUN.search(word):
        return ()
    return _LETTER_RUN.sub(r"\1\1", word), _LETTER_RUN.sub(r"\1", word)
