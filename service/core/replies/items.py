"""Tokens to items: what each word or phrase can mean, with numbers, names and sides told apart.

An item has one `role` that the grammar goes by and keeps its other meanings. Names of the round win over the
word lists; the longest listed phrase wins over shorter ones; what nobody listed is `unknown`.
"""

from collections.abc import Sequence
from functools import lru_cache

from service.core.reading import Asked
from service.core.replies.item import Item
from service.core.replies.near import is_one_edit, is_slip_of_name
from service.core.replies.patterns import Found, find
from service.core.replies.slips import distrust
from service.core.replies.tokens import Token, shortened, tokens
from service.core.replies.words import Meanings, Words
from service.core.replies.writers import settle_given

# Which meaning a phrase plays first where it has several; the grammar may still ask for the others.
_ROLES = (
    "stranger", "silence",
    "swallow", "undo", "notme", "help", "who", "correction", "still", "except", "goodrest", "rest", "notyet",
    "late", "gone", "fixed", "fixes", "dead", "notok", "farewell", "away", "faults", "but", "no", "not",
    "missed", "hedge", "good", "sides", "all", "both", "other", "devices", "parts", "bad", "durations",
    "wait", "loaner", "cannot", "mine", "please", "question", "later", "past", "fix", "yes", "ack",
    "thanks", "found", "medical", "greeting", "benign", "arrival", "upto", "and", "they", "pronoun",
    "self", "staff", "excuse", "within", "minutes", "clock", "hours", "at", "heard", "nothing",
    "numbers", "chat", "given", "filler", "room", "elsewhere", "cell", "mouth", "belonging", "body", "sounds",
    "harmless", "noticed", "all_sounds",
)  # fmt: skip
_RANK = {kind: rank for rank, kind in enumerate(_ROLES)}
MOST_TOKENS = 120
_HARD = frozenset(".!;\n")
_SOFT = frozenset(",-()/|>:")
_SHORTEST_NEAR_ALIAS = 3
_SHORTEST_PARTED = 4
_WIDEST_GAP = 2
_MOST_SPOKEN = 3
_WITHOUT_WEIGHT = frozenset(
    {"filler", "pronoun", "they", "self", "upto", "and", "at", "within", "benign", "other", "not", "numbers"}
)
_VOWELS = frozenset("aeiou")
_FRENCH = frozenset({"fr"})
_FIRST_PICTURE = "\U0001f300"
_NOTHING: Meanings = {}
_PLAIN: Meanings = {"plain": ""}
_A_PLEA = 2


def items(typed: Sequence[Token], asked: Asked, words: Words) -> tuple[list[Item], bool]:
    """The items of what was typed, in order, and whether it went on beyond the most that is read."""
    every = _unadorned(typed, words)
    parted = _parted(every[:MOST_TOKENS], words)
    found = parted[:MOST_TOKENS]
    names = _names(asked)
    read: list[Item] = []
    at = 0
    spelled = [words.repaired(token.word) for token in found]
    while at < len(found):
        item, width = _item(at, found, spelled, names, words, read)
        if item.role == "faults" and " " in item.text:
            item.part = any("parts" in words.phrases.get((word,), _NOTHING) for word in item.text.split())
        if item.skipped:
            read += [_alone(spelled[place], words) for place in item.skipped]
        read.append(item)
        at += width
    for here, item in enumerate(read):
        if item.role == "given":
            settle_given(read, here)
    _estrange(read, asked.language, words)
    distrust(read, tuple(name[0] for name in names if len(name) == 1 and len(name[0]) >= _SHORTEST_NEAR_ALIAS))
    for item in read if len(read) > _A_PLEA else ():
        if item.text == "aide":
            item.role = "staff"
    return read, max(len(every), len(parted)) > MOST_TOKENS


def _is_near_an_alias(word: str, names: dict[tuple[str, ...], int]) -> bool:
    return any(len(name) == 1 and is_one_edit(word, name[0]) for name in names)


def _estrange(read: list[Item], language: str, words: Words) -> None:
    """Short words of languages that nothing else in the reply is in are rather slips: "they sa they are ok"."""
    little = [item for item in read if item.text in words.foreign and item.role in _WITHOUT_WEIGHT]
    strangers = [item for item in little if language not in words.foreign[item.text]]
    if not strangers:
        return
    heard = {language}
    for item in read:
        for word in item.text.split():
            spoken = words.spoken.get(word, ())
            heard.update(spoken if len(spoken) < _MOST_SPOKEN else ())
    for item in strangers:
        if heard.isdisjoint(words.foreign[item.text]):
            item.role, item.value = ("hedge", "") if item.role == "not" else ("unknown", "odd")


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
        if side == "l" and rest[:1] in _VOWELS and words.spoken.get(rest) == _FRENCH:
            return (Token(rest),)
        if rest != token.word and words.phrases.get((rest,), {}).keys() & {"parts", "faults"}:
            return Token(side), Token(rest)
    return (token,)


def _unadorned(typed: Sequence[Token], words: Words) -> list[Token]:
    """What was typed without smiling faces; one that fell into a word ("bon🎉ked") does not make two of it."""
    kept: list[Token] = []
    broken = False
    for token in typed:
        if _is_ornament(token.word, words):
            broken = token.inside and bool(kept)
        elif broken and token.word.isalpha() and not {token.word, kept[-1].word} <= words.known:
            kept[-1] = Token(kept[-1].word + token.word)
        else:
            broken = False
            kept.append(token)
    return kept


def _is_ornament(word: str, words: Words) -> bool:
    """A smiling face and its like: no word, no mark of punctuation, nothing that is listed with a meaning."""
    if word.isascii() or word.isalnum():
        return False
    means = words.phrases.get((word,))
    return means.keys() == {"filler"} if means else word >= _FIRST_PICTURE


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
    if phrase and phrase[0].role == "given" and _is_near_an_alias(token.word, names):
        return _unlisted(token, names, words), 1
    if phrase:
        item = phrase[0]
        item.sure = spelled[at] == token.word or phrase[1] > 1
        cut = spelled[at] in shortened(token.word)
        if item.sure or cut or _may_be_guessed(item, token, words):
            return phrase
        return Item("unknown", "odd", token.word), 1
    mark = _mark(token.word)
    if mark:
        return mark, 1
    return _unlisted(token, names, words), 1


def _may_be_guessed(item: Item, token: Token, words: Words) -> bool:
    """Whether a word with a typing error may stand for the listed one: for bad news it may, but not for an absence,
    and for a word without a meaning only where no word of trouble is as near.
    """
    if item.can("away") or item.can("gone"):
        return False
    return item.role not in ("filler", "benign") or not words.may_be_trouble(token.word)


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
    """The listed phrase that begins at `at`: as it is listed, or with light words between where that says more."""
    word = spelled[at]
    weight = 0
    whole = None
    left = len(spelled) - at
    for width in words.widths.get(word, ()):
        if width > left:
            continue
        phrase = tuple(spelled[at : at + width])
        means = words.phrases.get(phrase)
        if means is not None:
            role = _role(means)
            whole = Item(role, means[role], " ".join(phrase), means), width
            weight = 1 + sum(part not in words.light for part in phrase[1:])
            break
    widths = words.gapped_widths.get(word)
    if widths and widths[0] > weight:
        gapped = _with_gaps(at, spelled, words, weight)
        if gapped:
            whole, weight = gapped
    pattern = find(words.patterns, at, spelled, words.light) if word in words.patterns.after else None
    if pattern and pattern.weight > weight:
        return _of_pattern(pattern, spelled)
    return whole


def _of_pattern(pattern: Found, spelled: Sequence[str]) -> tuple[Item, int]:
    role = _role(pattern.means)
    first, last = pattern.places[0], pattern.places[-1]
    skipped = tuple(place for place in range(first, last) if place not in pattern.places)
    text = " ".join(spelled[place] for place in pattern.places)
    return Item(role, pattern.means[role], text, pattern.means, skipped=skipped), last + 1 - first


def _with_gaps(at: int, spelled: Sequence[str], words: Words, weight: int) -> tuple[tuple[Item, int], int] | None:
    """The longest phrase of more than `weight` weighty words that begins at `at` and has light words between, and
    how many are weighty.
    """
    widths = words.gapped_widths[spelled[at]]
    places = [at]
    here = at + 1
    while here < len(spelled) and len(places) < widths[0]:
        if spelled[here] not in words.light:
            places.append(here)
        elif here - places[-1] > _WIDEST_GAP:
            break
        here += 1
    for width in widths:
        if weight < width <= len(places):
            phrase = tuple([spelled[place] for place in places[:width]])
            means = words.gapped.get(phrase)
            if means is not None:
                role = _role(means)
                end = places[width - 1] + 1
                skipped = tuple(place for place in range(at, end) if place not in places)
                return (Item(role, means[role], " ".join(phrase), means, skipped=skipped), end - at), width
    return None


def _alone(word: str, words: Words) -> Item:
    """A light word that stood within a phrase, by itself."""
    means = words.phrases.get((word,)) or {"filler": ""}
    role = _role(means)
    return Item(role, means[role], word, means, inside=True)


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
    if word.isalnum():
        return None
    return Item("filler", text=word) if word.isascii() else Item("unknown", "odd", word)


def _unlisted(token: Token, names: dict[tuple[str, ...], int], words: Words) -> Item:
    """A word of no list: perhaps an alias with one typing error, else a stranger's name or unknown."""
    spelled = token.owner or token.word
    if len(spelled) >= _SHORTEST_NEAR_ALIAS:
        near = {n for name, n in names.items() if len(name) == 1 and is_one_edit(spelled, name[0]) and len(name[0]) > 2}
        if len(near) == 1:
            sure = any(is_slip_of_name(spelled, name[0]) for name in names if len(name) == 1)
            return Item("name", text=spelled, number=near.pop(), sure=sure)
        if near:
            return Item("stranger", "several", spelled)
    if any(len(n) == 1 and len(n[0]) > 2 and (spelled.startswith(n[0]) or spelled.endswith(n[0])) for n in names):
        return Item("stranger", "several", spelled)
    if token.owner and token.owner not in words.known:
        return Item("stranger", "nobody", spelled)
    if token.word in words.plain:
        return Item("unknown", text=token.word, means=_PLAIN)
    return Item("unknown", "odd" if words.may_be_trouble(token.word) else "", token.word)
