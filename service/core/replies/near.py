"""One typing error: a letter more, less or other, or two neighbours swapped."""

from collections.abc import Mapping


def neighbours(words: set[str]) -> dict[str, tuple[str, ...]]:
    """Every word with one letter left out, and itself, to the listed words it may come from."""
    found: dict[str, list[str]] = {}
    for word in sorted(words):
        for form in {word, *shorter(word)}:
            found.setdefault(form, []).append(word)
    return {form: tuple(listed) for form, listed in found.items()}


def shorter(word: str) -> list[str]:
    """`word` with each of its letters left out."""
    return [word[:i] + word[i + 1 :] for i in range(len(word))]


def nearest(word: str, near: Mapping[str, tuple[str, ...]]) -> str | None:
    """The listed word at one typing error from `word`, by what `neighbours` made."""
    for form in (word, *shorter(word)):
        for listed in near.get(form, ()):
            if is_one_edit(word, listed):
                return listed
    return None


def is_one_edit(one: str, two: str) -> bool:
    """Whether the two differ by one letter more, less or other, or by two neighbours swapped."""
    if abs(len(one) - len(two)) > 1:
        return False
    start = 0
    while start < min(len(one), len(two)) and one[start] == two[start]:
        start += 1
    rest_one, rest_two = one[start:], two[start:]
    if len(one) != len(two):
        longer, shorter = (rest_one, rest_two) if len(one) > len(two) else (rest_two, rest_one)
        return longer[1:] == shorter
    return rest_one[1:] == rest_two[1:] or (
        rest_one[:2] == rest_two[:2][::-1] and rest_one[2:] == rest_two[2:]
    )


def is_slip_of_name(typed: str, name: str) -> bool:
    """Whether `typed` is `name` with a letter doubled, left out of a double, or two neighbours swapped: a slip of the
    thumb that makes no other name ("Lummi", "Zuir").
    """
    if len(name) < _SHORTEST_NAME or not is_one_edit(typed, name):
        return False
    if len(typed) == len(name):
        return sorted(typed) == sorted(name)
    longer, shorter = (typed, name) if len(typed) > len(name) else (name, typed)
    return any(longer[i] == longer[i + 1] and longer[:i] + longer[i + 1 :] == shorter for i in range(len(longer) - 1))


_SHORTEST_NAME = 4
