"""Chatter beside a clear result: of the room, of who writes, of a child's tooth; it turns nothing.

Once a reply has said plainly that something works, a breath that speaks of everyday things is chatter, unless it
may speak of a device, of a check or of who is here: a part, a side, a device, a number, a sound, a remedy, "it",
a word that may be a slip of trouble. In chatter trouble must have a subject of its own ("the fish tank leaked",
"my back hurts") or, where a student is named, an object of its own ("Cal broke his pencil"); a doubt, a denial or a
later time must go on to something everyday ("I think it will snow", not "I think").
"""

from service.core.replies.item import Item
from service.core.replies.segment import Segment

_OF_DEVICES = (
    "good", "fixed", "goodrest", "fixes", "fix", "missing", "parts", "score", "yes", "no", "loaner", "still", "notyet",
    "gone",
)  # fmt: skip
_GENERAL = frozenset({"LOST", "WET", "HOME", "REFUSED", "OTHER"})
_OWN_BODY = frozenset({"SORE", "UNWELL", "KNOCK"})
_TROUBLE = frozenset({"bad", "notok", "dead", "faults", "late", "away"})
_OF_STUDENTS = frozenset({"bad", "notok", "faults"})
_TURNS = frozenset({"mine", "hedge", "later", "question", "not", "no", "query", "late", "notyet", "cannot"})
_MAY_CHAT = frozenset({"hedge", "later", "past", "please", "mine"})
_PASSED_OVER = frozenset({"filler", "pronoun", "self", "they", "at", "within", "and", "hard", "soft", "query"})
_DONE = frozenset(
    {"did", "checked", "tested", "listened", "took", "used", "finished", "hice", "revise", "fait", "verifie", "teste"}
)
_TO_DO = frozenset(
    {"check", "checking", "do", "doing", "test", "testing", "look", "looking", "listen", "listening", "know", "see"}
    | {"try", "recheck", "redo", "get", "finish", "hacer", "hago", "revisar", "reviso", "verifier", "faire", "fais"}
)
_COMING = frozenset({"come", "comes", "coming", "arrive", "arrives", "arriving", "vienen", "llegan", "arrivent"})
_WAS = frozenset({"was", "were", "had", "estaban", "estaba", "etaient", "etait"})
_TRANSPORT = frozenset({"bus", "buses", "taxi", "van", "train", "traffic", "minibus", "transport"})
_MINE = frozenset({"my", "i", "im", "ive", "me"})


def without_chatter(parts: list[Segment]) -> list[Segment]:
    """`parts` without those that only chat, where another tells plainly that something works."""
    verdict = next((at for at, part in enumerate(parts) if _is_verdict(part)), None)
    mended = any(item.role == "fixed" or item.text.endswith((" now", " again")) for part in parts for item in part.said)
    if verdict is None or mended:
        return parts
    return [part for at, part in enumerate(parts) if not _is_chatter(part) or (at < verdict and _may_turn(part))]


def _may_turn(part: Segment) -> bool:
    """Whether what is said before the news may be meant for it."""
    return bool(part.hazards or part.nots or part.said)


def _is_verdict(part: Segment) -> bool:
    clean = not (part.hazards or part.nots or part.unknown or part.asked)
    return clean and part.says("good") and part.joined not in ("except", "but")


def _is_everyday(item: Item) -> bool:
    """A word of no device, no check and no state of a child."""
    if item.role in ("belonging", "elsewhere", "staff", "room", "excuse", "chat"):
        return True
    if item.role == "unknown":
        return item.can("plain")
    return item.role == "filler" and item.text.isalpha() and len(item.text) > _LITTLE and not item.can("little")


_LITTLE = 3


def _is_chatter(part: Segment) -> bool:
    if part.arrival and not (part.refs or part.quantity) and {item.role for item in part.hazards} <= {"past"}:
        return not (part.says(*_TROUBLE, "good", "no", "fixes", "fix") or part.nots or part.asked)
    if part.says(*_OF_DEVICES) or part.devices or part.sides or part.missed or part.joined == "except":
        return False
    if _puts_off(part):
        return False
    if part.asked or part.guessed:
        return False
    others = part.quantity or part.strangers or part.other or part.both
    if others or not all(ref.by_name and ref.sure for ref in part.refs):
        return False
    if any(item.part for item in part.items) or not {item.role for item in part.hazards} <= _MAY_CHAT:
        return False
    everyday = [at for at, item in enumerate(part.items) if _is_everyday(item)]
    ours = any(item.text in _MINE for item in part.items)
    if not everyday and not (ours and part.said):
        return False
    odd = next((at for at, item in enumerate(part.items) if item.role == "unknown" and item.value), None)
    if odd is not None and (part.refs or not everyday or everyday[0] > odd):
        return False
    if part.thing and (part.said or part.hazards) and not _tells_of_the_check(part):
        return False
    if part.refs:
        return part.joined != "but" and _has_objects(part)
    return _has_subjects(part, everyday) and _goes_on(part, everyday)


def _puts_off(part: Segment) -> bool:
    """Whether the check itself is denied or put off ("will do it in the morning"), or how things were is told."""
    texts = [text for item in part.items for text in item.text.split()]
    if texts and texts[-1] in _WAS:
        return True
    turned = part.nots or part.has("later", "mine", "hedge", "past", "notyet")
    if part.they and turned and not _COMING.isdisjoint(texts):
        return True
    return bool(turned) and not _tells_of_the_check(part) and not _TO_DO.isdisjoint(texts)


def _tells_of_the_check(part: Segment) -> bool:
    """"We did the check right after breakfast": done, and nothing of it denied."""
    told = [text for item in part.items[:_SOON] for text in item.text.split()]
    return not part.nots and not part.has("hedge", "notyet", "mine") and not _DONE.isdisjoint(told)


_SOON = 4


def _has_objects(part: Segment) -> bool:
    """Of a student: every word of trouble has something everyday right after it, and nothing is doubted."""
    if part.nots or any(item.role != "past" for item in part.hazards):
        return False
    for at, item in enumerate(part.items):
        if item.role in _TROUBLE:
            after = next((other for other in part.items[at + 1 :] if other.role not in _PASSED_OVER), Item(""))
            general = item.role != "faults" or item.value in _GENERAL
            if item.role not in _OF_STUDENTS or not general or not _is_everyday(after):
                return False
    return bool(part.said) or any(_is_everyday(item) for item in part.items)


def _has_subjects(part: Segment, everyday: list[int]) -> bool:
    """Of nobody: every word of trouble has something everyday, or who writes, before it."""
    for at, item in enumerate(part.items):
        if item.role not in _TROUBLE:
            continue
        ours = any(other.text in _MINE for other in part.items[:at])
        if item.role == "faults" and item.value not in _GENERAL and not (ours and item.value in _OWN_BODY):
            return False
        of_itself = not _TRANSPORT.isdisjoint(item.text.split())
        if not (ours or of_itself or any(place < at for place in everyday)):
            return False
    return True


def _goes_on(part: Segment, everyday: list[int]) -> bool:
    """Whether every doubt, denial and later time goes on to something everyday."""
    turns = [at for at, item in enumerate(part.items) if item.role in _TURNS and item.text != "?"]
    return not turns or (bool(everyday) and everyday[-1] > turns[-1])
