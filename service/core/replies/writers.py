"""A given name that is nobody's of the round: of who writes, where it signs or introduces; else of a stranger."""

from service.core.replies.item import Item

_SETS_OFF = frozenset("-~(")
_DID_IT = frozenset(
    {"checked", "checked them", "did it", "did them", "did the", "tested them", "helped", "helped me check"}
)
_DONE_BY = frozenset({"checked by", "done by"})
_AROUND = frozenset({"hard", "soft", "staff", "room", "filler", "number", "thanks"})
_BEFORE = frozenset({"greeting", "filler", "pronoun", "self", "soft"})
_TELLS = frozenset({"hard", "soft", "within", "filler"})
_LONG = 4  # shorter ones are too near to other words


def settle_given(read: list[Item], at: int) -> None:
    """Let the given name at `at` say nothing where it is of who writes; make it an odd word where it is not."""
    item = read[at]
    of_writer = _signs(read, at) or _introduces(read, at)
    item.role, item.value = ("filler", "") if of_writer else ("unknown", "odd")
    item.means = {"filler": ""} if of_writer else {}


def _signs(read: list[Item], at: int) -> bool:
    """"All ok - Jen", "(checked by Marisol)": nothing but a title or a room follows."""
    before = read[at - 1] if at else Item("")
    after = read[at + 1] if at + 1 < len(read) else Item("")
    comma = before.role == "soft" and (len(read[at].text) >= _LONG or after.text == "(")
    set_off = comma or before.text in _SETS_OFF or before.text in _DONE_BY or before.role in ("hard", "thanks")
    return set_off and all(other.role in _AROUND for other in read[at + 1 :])


def _introduces(read: list[Item], at: int) -> bool:
    """"Dana here", "this is Dana, all ok", "Marisol checked them for me"."""
    before = read[at - 1] if at else Item("hard")
    after = read[at + 1] if at + 1 < len(read) else Item("")
    if before.role in ("hard", "soft") and after.text in _DID_IT and len(read[at].text) >= _LONG:
        return True
    opens = all(other.role in _BEFORE for other in read[:at])
    named = after.text in ("here", ":") or after.role in ("staff", "room") or (at > 0 and after.role in _TELLS)
    return opens and named
