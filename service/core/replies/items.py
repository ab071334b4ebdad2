"""Tokens to items: what each word or phrase can mean, with numbers, names and sides told apart.

An item has one `role` that the grammar goes by and keeps its other meanings. Names of the round win over the
word lists; the longest listed phrase wins over shorter ones; what nobody listed is `unknown`.
"""

from collections.abc import Sequence
from functools import lru_cache

from service.core.reading import Asked
from service.core.replies.item import Item
from service.core.replies.slips import distrust
from service.core.replies.tokens import Token, tokens
from service.core.replies.words import Meanings, Words, is_one_edit

# Which meaning a phrase plays first where it has several; the grammar may still ask for the others.
_ROLES = (
    "swallow", "undo", "notme", "help", "correction", "still", "except", "goodrest", "rest", "notyet",
    "late", "gone", "fixed", "fixes", "dead", "notok", "farewell", "away", "faults", "but", "no", "not",
    "missed", "hedge", "good", "sides", "all", "both", "other", "devices", "parts", "bad", "durations",
    "wait", "loaner", "cannot", "mine", "please", "question", "later", "past", "fix", "yes", "ack",
    "thanks", "found", "medical", "greeting", "benign", "arrival", "upto", "and", "they", "pronoun",
    "self", "staff", "excuse", "within", "minutes", "clock", "hours", "at", "heard", "nothing",
    "numbers", "filler", "room", "cell", "mouth", "belonging", "body", "sounds", "harmless",
)  # fmt: skip
_RANK = {kind: rank for rank, kind in enumerate(_ROLES)}
MOST_TOKENS = 200
_HARD = frozenset(".!;\n")
_SOFT = frozenset(",-()/|>:")
_SHORTEST_NEAR_ALIAS = 3
_SHORTEST_PARTED = 4
_A_PLEA = 2


def items(text: str, asked: Asked, words: Words) -> tuple[list[Item], bool]:
    """The items of `text`, in order, and whether the text went on beyond the most that is read."""
    every = [token for token in tokens(text) if not _is_ornament(token.word, words)]
    parted = _parted(every[:MOST_TOKENS], words)
    found = parted[:MOST_TOKENS]
    names = _names(asked)
    read: list[Item] = []
    at = 0
    spelled = [words.repaired(token.word) for token in found]
    while at < len(found):
        item, width = _item(at, found, spelled, names, words, read)
        read.append(item)
        at += width
    distrust(read, tuple(name[0] for name in names if len(name) == 1 and len(name[0]) >= _SHORTEST_NEAR_ALIAS))
    for item in read if len(read) > _A_PLEA else ():
        if item.text == "aide":
            item.role = "staff"
    return read, max(len(every), len(parted)) > MOST_TOKENS


def _parted(found: list[Token], words: Words) -> list[Token]:
    """`found` with a side typed into a code ("lbat") as the two words it is."""
    parted: list[Token] = []
    for token in found:
        word = token.word
        if word[0] in "lr" and len(word) >= _SHORTEST_PARTED and word not in words.known:
            parted += _side_and_code(token, words)
        else:
            parted.append(token)
    return parted


def _side_and_code(token: Token, words: Words) -> tuple[Token, ...]:
    for side in ("left", "right", "l", "r"):
        rest = token.word.removeprefix(side)
        if rest != token.word and words.phrases.get((rest,), {}).keys() & {"parts", "faults"}:
            return Token(side), Token(rest)
    return (token,)


def _is_ornament(word: str, words: Words) -> bool:
    """A smiling face and its like: no word, no mark of punctuation, nothing that is listed with a meaning."""
    return not word.isascii() and not word.isalnum() and words.phrases.get((word,), {"filler": ""}).keys() == {"filler"}


def _item(
    at: int,
    found: Sequence[Token],
    spelled: Sequence[str],
    names: dict[tuple[str, ...], int],
    words: Words,
    read: list[Item],
) -> tuple[Item, int]:
    token = found[at]
    named = _named(at, found, names, words)
    if named:
        return named
    if token.word.isdigit() and len(token.word) <= 4:
        phrase = _phrase(at, spelled, words)
        if phrase and phrase[1] > 1:
            return phrase
        return Item("number", token.word, token.word, number=int(token.word)), 1
    phrase = _phrase(at, spelled, words)
    if phrase and phrase[1] > 1 and phrase[0].role == "good" and _counts_on(spelled[at], read, words):
        return Item("numbers", text=token.word, means={"numbers": _number_word(spelled[at], words)}), 1
    if phrase:
        phrase[0].sure = spelled[at] == token.word or phrase[1] > 1
        return phrase
    mark = _mark(token.word)
    if mark:
        return mark, 1
    return _unlisted(token, names, words), 1


@lru_cache(maxsize=4096)
def _spelled(name: str) -> tuple[str, ...]:
    return tuple(token.word for token in tokens(name))


def _names(asked: Asked) -> dict[tuple[str, ...], int]:
    names: dict[tuple[str, ...], int] = {}
    for student in asked.students:
        for name in (student.alias, *student.nicknames):
            folded = _spelled(name)
            if folded:
                names.setdefault(folded, student.number)
    return names


def _named(
    at: int, found: Sequence[Token], names: dict[tuple[str, ...], int], words: Words
) -> tuple[Item, int] | None:
    for name, number in names.items():
        width = len(name)
        if width > 1 and (at + width > len(found) or any(found[at + i].word != name[i] for i in range(width - 1))):
            continue
        word, owner = found[at + width - 1]
        tail = name[-1]
        plural = word == tail + "s" and (len(tail) > 2 or (len(tail) == 2 and word not in words.known))
        if plural or tail in (word, owner):
            return Item("name", text=" ".join(name), number=number), width
    return None


def _phrase(at: int, spelled: Sequence[str], words: Words) -> tuple[Item, int] | None:
    for width in words.widths.get(spelled[at], ()):
        phrase = tuple(spelled[at : at + width])
        means = words.phrases.get(phrase)
        if means is not None:
            role = _role(means)
            return Item(role, means[role], " ".join(phrase), means), width
    return None


def _counts_on(word: str, read: list[Item], words: Words) -> bool:
    """Whether a word that begins a phrase only goes on counting ("uno dos tres bien")."""
    before = next((item for item in reversed(read) if item.role not in ("and", "soft")), None)
    counted = before is not None and (before.role == "number" or before.can("numbers"))
    return counted and bool(_number_word(word, words))


def _number_word(word: str, words: Words) -> str:
    return words.phrases.get((word,), {}).get("numbers", "")


def _role(means: Meanings) -> str:
    if len(means) == 1:
        return next(iter(means))
    return min(means, key=_rank)


def _rank(kind: str) -> int:
    return _RANK.get(kind, len(_RANK))


def _mark(word: str) -> Item | None:
    if word in _HARD:
        return Item("hard", text=word)
    if word in _SOFT:
        return Item("soft", word, text=word)
    if word == "?":
        return Item("query", text="?")
    if word == "*":
        return Item("correction", "star", text="*")
    return None if word.isalnum() else Item("filler", text=word)


def _unlisted(token: Token, names: dict[tuple[str, ...], int], words: Words) -> Item:
    """A word of no list: perhaps an alias with one typing error, else a stranger's name or unknown."""
    spelled = token.owner or token.word
    if len(spelled) >= _SHORTEST_NEAR_ALIAS:
        near = {n for name, n in names.items() if len(name) == 1 and is_one_edit(spelled, name[0]) and len(name[0]) > 2}
        if len(near) == 1:
            return Item("name", text=spelled, number=near.pop(), sure=False)
        if near:
            return Item("stranger", "several", spelled)
    if any(len(n) == 1 and len(n[0]) > 2 and (spelled.startswith(n[0]) or spelled.endswith(n[0])) for n in names):
        return Item("stranger", "several", spelled)
    if token.owner and token.owner not in words.known:
        return Item("stranger", "nobody", spelled)
    return Item("unknown", "odd" if words.may_be_trouble(token.word) else "", token.word)
