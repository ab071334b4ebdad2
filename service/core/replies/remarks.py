"""What is said beside the news: remarks, stories, promises and remedies that name nobody."""

from service.core.replies.segment import Segment

CONTRAST = frozenset({"except", "but"})
_A_STORY = 3
_EVERYDAY = 2
# What "I am dead tired" and "I lost my keys" say is said of who writes, where no device is named.
_OF_ONESELF = frozenset({"dead", "bad", "away", "faults", "notok"})
_OF_A_DEVICE = frozenset({"SETTING", "POWER", "MIC", "WHISTLE", "BAT", "LINK", "COIL", "CABLE", "MAGNET", "SWAP"})
_ALL_NOW = frozenset({"all", "everyone", "now", "ahora", "maintenant", "ya"})


def is_remark(segment: Segment, alone: bool) -> bool:
    """A part named in passing ("the coil is easier to see"): something kind is said of it, nothing bad.

    `alone`: only one student was asked about, so that a remedy needs no name.
    """
    if segment.selfish and not (segment.guessed or segment.subject or segment.pronoun or segment.they or segment.thing):
        roles = {item.role for item in segment.said}
        worn = any(item.role == "faults" and item.value in _OF_A_DEVICE for item in segment.said)
        if roles and not worn and roles <= _OF_ONESELF and not (segment.sides or segment.devices):
            return True
    elsewhere = segment.belonging or (segment.room and not segment.refs)
    if elsewhere and segment.says("faults") and not segment.devices and not segment.says("parts", "bad", "missing"):
        return True
    if segment.says("faults", "bad", "dead", "missing"):
        return False
    if segment.arrival:
        return True
    if any(i.role in ("fixes", "fix") and not i.can("benign_fix") for i in segment.said):
        return False
    if segment.says("fixes") and not segment.benign:
        whose = segment.sides or segment.says("parts") or alone
        told = bool(segment.unknown) and not segment.thing
        return segment.belonging or not (whose or (segment.refs and not told))
    return segment.benign and all(ref.by_name for ref in segment.refs)


def is_good_of_a_part(segment: Segment) -> bool:
    """"The charger is all set up": good words of a part that is nobody's say nothing of anybody."""
    parts = segment.says("parts") and segment.says("good")
    trouble = segment.says("faults", "bad", "dead", "missing", "fixes", "fix", "notok", "away", "still")
    return parts and not (trouble or segment.nots or segment.hazards or segment.asked or segment.joined in CONTRAST)


def is_of_supplies(segment: Segment) -> bool:
    """"But we need more batteries": what the cupboard wants, and no exception."""
    texts = {text for item in segment.items for text in item.text.split()}
    of_somebody = segment.refs or segment.nots or segment.sides
    return not _STOCK.isdisjoint(texts) and segment.says("parts") and not of_somebody


_STOCK = frozenset({"more", "extra", "extras", "box", "boxes", "pack", "packs"})


def is_told(segment: Segment) -> bool:
    """Something told of a student in words that are no slip of trouble: "Ada brought cupcakes for her birthday".

    A form or a tooth makes a story by itself; other words must be three at least, and none may be a word for
    the device ("it", "the thing").
    """
    if segment.said or segment.hazards or segment.nots or segment.asked or segment.sides or segment.devices:
        return False
    if not all(ref.by_name and ref.sure for ref in segment.refs):
        return False
    if segment.belonging:
        return segment.words > 1
    strange = segment.odd or segment.thing or segment.both or segment.other or segment.joined in CONTRAST
    words = segment.words if segment.everyday < _EVERYDAY else _A_STORY
    return bool(segment.unknown) and not strange and words >= _A_STORY


def is_promise(segment: Segment) -> bool:
    """Whether it is only said what somebody will do about a part ("will send a cable")."""
    promised = segment.has("later", "mine", "please", "question")
    remedies = [i for i in segment.said if i.role in ("fixes", "fix") and not i.can("benign_fix")]
    return promised and not (remedies or segment.says("faults", "bad", "dead", "missing"))


def is_bare_remedy(segment: Segment) -> bool:
    """Whether "fixed" and the like are all that is said: of whom is open, unlike "all good now"."""
    texts = [set(item.text.split()) for item in segment.said if item.role in ("good", "fixed")]
    return segment.says("fixed") and not segment.says("good") and all(t.isdisjoint(_ALL_NOW) for t in texts)
