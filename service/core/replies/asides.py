"""What stands beside the news: other people's things, how-to questions, promises to do one now, afterthoughts.

Words that would be news of a device are none in such a place: "how do I open the battery door" tells of no
broken door, "the copier is jammed" of no jammed aid. Each step only takes away what would be heard, or makes of it a
question or bad news; none of them adds good news but `_others_are`, which needs the news of one and the
negation of it for another in so many words.
"""

from service.core.replies.item import Item

_ENDS = frozenset({"hard", "query"})
_PAUSES = frozenset({"hard", "soft", "query", "and", "but", "except"})
_NAMES = frozenset({"number", "name"})
_NEWS = frozenset({"faults", "parts", "bad", "dead", "fixes", "fix", "still", "away", "good", "fixed", "notok"})
_NAMED_PARTS = frozenset({"parts", "devices", "sides", "fixes", "fix"})
_TROUBLE = frozenset({"faults", "bad", "dead"})
_WORN = frozenset({"number", "name", "sides", "devices", "parts", "pronoun"})
_BUSY_WITH = frozenset({"doing", "on", "onto", "checking", "testing", "haciendo", "revisando"})
_AT_ONCE = frozenset({"now", "next", "ahora", "maintenant", "right now"})
_COPULA = frozenset({"is", "are", "r"})
_NEGATED = frozenset({"isnt", "arent", "not", "aint", "doesnt", "dont"})
_NEED = frozenset({"needs", "need", "wants", "requires", "wanting", "needing"})
_AFTERTHOUGHTS = frozenset({"forgot", "i forgot", "almost forgot", "forgot it"})
_LABELS = 2


def set_aside(found: list[Item]) -> None:
    """Take out of `found`, in place, what is no news of anybody's device."""
    for at, item in enumerate(found):
        if item.role == "help":
            _how_to(found, at)
        elif item.can("elsewhere"):
            _elsewhere(found, at)
        elif item.role in _NAMES:
            _busy_with(found, at)
        elif item.role == "rest":
            _others_are(found, at)
        elif item.text in _NEGATED:
            _not_so(found, at)
        elif item.text in _NEED:
            _needed(found, at)
        elif item.role == "all":
            _entirely(found, at)
        elif item.text in _OR:
            _torn(found, at)
        elif item.text in ("actually", "before"):
            _in_passing(found, at)
    _questions(found)
    _afterthoughts(found)
    _labels(found)


def _breath(found: list[Item], at: int) -> tuple[int, int]:
    """The beginning and end of the breath around `at`."""
    begin = at
    while begin > 0 and found[begin - 1].role not in _PAUSES:
        begin -= 1
    end = at
    while end < len(found) and found[end].role not in _PAUSES:
        end += 1
    return begin, end


def _how_to(found: list[Item], at: int) -> None:
    """A part in a how-to question is what is asked about, unless trouble is told in the same breath."""
    for end in range(at + 1, len(found) + 1):
        if end == len(found) or found[end].role in _ENDS:
            break
    asked = found[at + 1 : end]
    begin = max((place + 1 for place in range(at) if found[place].role in _ENDS), default=0)
    if any(item.role == "good" for item in found[begin:at]):
        return
    told = [item for item in asked if item.role in _TROUBLE or item.role in ("but", "good")]
    if any(not (item.part and "open" in item.text.split()) for item in told):
        return
    for item in asked:
        if item.role == "faults" and item.part and "open" in item.text.split():
            item.role = "denied"
        if item.role in _NAMED_PARTS:
            item.role = "denied"


def _elsewhere(found: list[Item], at: int) -> None:
    """What is said of a thing that no child wears is no news: the breath's predicates are about the thing."""
    begin, end = _breath(found, at)
    goes_on = end + 1 < len(found) and found[end].text in _BUT_OF_THINGS and found[end + 1].text in _IS
    if goes_on and not any(item.role in _NEWS for item in found[at:end]):
        found[end].role = "filler"
        begin, end = _breath(found, at)
        denied = next((item for item in found[at + 1 : end] if item.role in ("not", "no")), Item(""))
        denied.role = "denied"
    breath = found[begin:end]
    if any(item.role in _WORN for item in breath) or any(item.role in _NEWS - {"good"} for item in found[begin:at]):
        return
    if any(item.text in _LIKEWISE for item in found[at + 1 :]):
        return
    told = [item for item in found[at + 1 : end] if item.role in _NEWS or item.role in ("late", "still")]
    if end < len(found) and found[end].text in _THOUGH and (end + 1 == len(found) or found[end + 1].role in _ENDS):
        found[end].role = "filler"
    for item in told:
        item.role = "unknown" if item.role in ("good", "fixed") else "denied"
    for item in found[begin:at]:
        if item.role == "all" or item.text in ("the class", "class"):
            item.role = "filler"
    for item in found[at + 1 : end]:
        if item.text in _WRY and item.role == "hedge":
            item.role = "filler"


_IS = frozenset({"is", "isnt", "was", "wasnt", "are", "arent"})
_THOUGH = frozenset({"tho", "though"})
_BUT_OF_THINGS = frozenset({"however", "though", "tho", "although"})
_LIKEWISE = frozenset({"too", "also", "likewise", "same", "as well", "ditto", "tambien", "aussi"})
_WRY = frozenset({"\U0001f644", "\U0001f612", "\U0001f611", "\U0001f624", "\U0001f62c"})


def _busy_with(found: list[Item], at: int) -> None:
    """"Doing Ada now", "on 3 now": whoever is being done is no more settled than before; a wish to wait."""
    if not at or found[at - 1].text not in _BUSY_WITH or (at > 1 and found[at - 2].role in (*_NAMES, "parts", "good")):
        return
    end = at
    while end < len(found) and found[end].role in (*_NAMES, "and"):
        end += 1
    then = found[end] if end < len(found) else Item("")
    if then.text not in _AT_ONCE and not (found[at - 1].text != "on" and then.role in ("", "hard")):
        return
    for item in found[at:end]:
        item.role = "filler"
    found[at - 1].role = "wait"
    found[at - 1].means = {"wait": ""}


def _others_are(found: list[Item], at: int) -> None:
    """"3 isn't ok, others are": the word left out is the good one that was denied before."""
    end = at + 1
    if end >= len(found) or found[end].text not in _COPULA:
        return
    if end + 1 < len(found) and found[end + 1].role not in _ENDS:
        return
    if any(item.role in ("good", "fixed") for item in found):
        return
    denied = [item for item in found[:at] if item.role in ("notok", "dead") and item.text.startswith(_DENIES_GOOD)]
    if denied and any(item.role in _NAMES for item in found[:at]):
        found[end].role = "good"
        found[end].means = {"good": ""}


_DENIES_GOOD = ("isnt", "arent", "not ", "doesnt work", "isn", "aint")


def _not_so(found: list[Item], at: int) -> None:
    """"1 lost it. No not lost, left at home": a trouble that is told and then denied is taken back."""
    denied = next((item for item in found[at + 1 : at + 4] if item.role not in ("filler", "pronoun")), Item(""))
    if denied.role not in ("faults", "parts"):
        return
    begin = at
    while begin > 0 and found[begin - 1].role not in ("hard", "soft", "correction"):
        begin -= 1
    if any(item.role in _NAMES for item in found[begin:at]):
        return
    for item in found[:begin]:
        if (item.role, item.value) == (denied.role, denied.value):
            item.role = "denied"
            for answer in found[begin:at]:
                answer.role = "filler" if answer.role == "no" else answer.role


def _needed(found: list[Item], at: int) -> None:
    """"Needs a fresh cell": a remedy that is wanted is the fault it is for."""
    for item in found[at + 1 : at + 4]:
        if item.role == "fixes" and item.value not in ("", "none"):
            item.role, item.means = "faults", {"faults": item.value}
            return
        if item.role not in ("filler", "pronoun", "sides", "sounds", "unknown"):
            return


def _entirely(found: list[Item], at: int) -> None:
    """"It's all gone quiet": not everybody, but all of it."""
    after = found[at + 1].role if at + 1 < len(found) else ""
    if at and found[at - 1].role == "pronoun" and after in ("bad", "faults", "dead", "unknown", "filler", "parts"):
        found[at].role = "filler"


def _torn(found: list[Item], at: int) -> None:
    """"Battery or maybe tubing": the fault is certain and its code is not."""
    before = found[at - 1] if at else Item("")
    place = at + 1
    while place < len(found) and (found[place].role in ("filler", "hedge", "pronoun")):
        place += 1
    after = found[place] if place < len(found) else Item("")
    causes = ("parts", "faults")
    if before.role not in causes or after.role not in causes or before.value == after.value:
        return
    if any(item.role in ("no", "not", "good") for item in found):
        return
    before.role, before.value, before.means = "faults", "OTHER", {"faults": "OTHER", "torn": ""}
    for item in found[at : place + 1]:
        item.role = "filler"


_OR = frozenset({"or", "o", "ou"})


def _in_passing(found: list[Item], at: int) -> None:
    """"We actually remembered before the announcements": no correction, and no state of earlier."""
    before = found[at - 1].role if at else ""
    after = next((item for item in found[at + 1 : at + 4] if item.role != "filler"), Item(""))
    remark = before in ("self", "they") and after.role == "unknown"
    occasion = after.role in ("unknown", "elsewhere", "excuse") and not after.value
    if remark if found[at].text == "actually" else occasion:
        found[at].role = "filler"


def _questions(found: list[Item]) -> None:
    """"Is the staff meeting still at 3:30": a sentence that begins so asks."""
    for at, item in enumerate(found[:-1]):
        begins = not at or found[at - 1].role in _ENDS
        of_us = item.text == "did" and found[at + 1].text in ("the", "it", "that", "this", "my", "our")
        if not at and item.role == "question" and item.text in _WH and _only_parts_follow(found):
            for part in found[1:]:
                part.role = "denied" if part.role == "parts" else part.role
        if begins and not of_us and item.text in _ASKING and found[at + 1].text in _ASKED_ABOUT:
            item.role, item.means = "question", {"question": ""}


def _only_parts_follow(found: list[Item]) -> bool:
    """"What is the coil": a part is all that is spoken of, and nobody's."""
    roles = {item.role for item in found[1:]}
    return "parts" in roles and roles <= {"parts", "filler", "query", "hard", "pronoun"}


_WH = frozenset({"what", "whats", "what is", "que es", "cual es", "quest ce que"})
_ASKING = frozenset({"is", "are", "was", "were", "did", "do", "does", "has", "have", "will", "would"})
_ASKED_ABOUT = frozenset(
    {"the", "there", "my", "our", "your", "it", "that", "this", "he", "she", "they", "you", "we", "anyone"}
)


def _afterthoughts(found: list[Item]) -> None:
    """"..., forgot" and a "though" at the end of a remark turn nothing."""
    for at, item in enumerate(found):
        after = found[at + 1].role if at + 1 < len(found) else ""
        if item.text == "*" and after == "except":
            item.role = "filler"
        elif item.text in _AFTERTHOUGHTS and (not after or after in _ENDS):
            begins = not at or found[at - 1].role in _PAUSES
            if begins and any(o.role in _TROUBLE or o.role == "parts" for o in found[:at]):
                item.role = "filler"
        elif item.text in _THOUGH and item.role == "but" and _ends_a_remark(found, at):
            ending = all(o.role in ("filler", "thanks", "greeting") for o in found[at + 1 : at + 3])
            item.role = "filler" if ending or after in (*_ENDS, "soft") else "but"


def _ends_a_remark(found: list[Item], at: int) -> bool:
    """Whether the breath before only asks for something, or tells of nothing that is worn."""
    begin = at
    while begin > 0 and found[begin - 1].role not in _PAUSES:
        begin -= 1
    breath = [item.role for item in found[begin:at]]
    if not begin or not breath:
        return False
    news = not _NEWS.isdisjoint(breath)
    if "please" in breath or (not news and not {"belonging", "elsewhere"}.isdisjoint(breath)):
        return True
    strange = sum(role in ("unknown", "filler") for role in breath) >= _REMARK
    return strange and not news and _WORN.isdisjoint(breath)


_REMARK = 2


def _labels(found: list[Item]) -> None:
    """"No.1 fine no.2 fine": twice or more, it is how the numbers are written."""
    spots = [
        at
        for at in range(len(found) - 2)
        if found[at].text == "no" and found[at + 1].text == "." and found[at + 2].role == "number"
    ]
    answers = sum(item.role in ("no", "not") for item in found)
    for at in spots if len(spots) >= _LABELS and answers == len(spots) and not spots[0] else ():
        found[at].role, found[at].means = ("hard" if at else "filler"), {}
        found[at + 1].role = "filler"
