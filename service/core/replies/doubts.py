"""What takes the edge off good news: rule 1 of the package, and what beside the news may be meant for it."""

from service.core.reading import Doubt
from service.core.replies.remarks import CONTRAST, is_promise, is_remark
from service.core.replies.segment import Segment

# "K all good": acknowledgements that a clear result makes nothing of, and that are no slip of a denial.
_NODS = frozenset({"k", "kk", "no worries", "no problem", "sure", "roger", "copy that", "got it"})


def doubt_of(segment: Segment) -> Doubt | None:
    """What takes the edge off a good word in this breath; None where nothing does."""
    if segment.asked or segment.has("question", "query"):
        return Doubt.UNCLEAR
    if segment.has("later", "notyet", "late", "mine", "cannot") or segment.says("notyet", "late"):
        return Doubt.LATER
    if segment.has("hedge") or (segment.has("past") and not segment.says("fixed")):
        return Doubt.HEDGED
    if segment.crossed or not all(ref.sure for ref in segment.refs):
        return Doubt.WHICH_STUDENT
    if segment.they and len(segment.refs) == 1:
        return Doubt.WHICH_STUDENT
    if segment.says("notok") or segment.nots:
        return Doubt.NOT_OK
    guessed = segment.guessed and not segment.refs
    if segment.unknown or guessed or segment.has("correction") or segment.says("no"):
        return Doubt.UNCLEAR
    of_all = segment.quantity == "all" or any(i.text.startswith("all ") for i in segment.said if i.role == "good")
    nods = [item.text for item in segment.hazards if item.role == "ack"]
    if nods and not (of_all and _NODS.issuperset(nods)):
        return Doubt.UNCLEAR
    return None


def is_doubtful_remark(segment: Segment, alone: bool) -> bool:
    """Whether what doubts or denies beside a remark may be meant for the news. `alone`: one student was asked about."""
    if segment.has("please") and is_promise(segment):
        return False
    doubtful = segment.asked or segment.nots or segment.has("hedge", "later", "question", "query", "notyet")
    aside = segment.denied and not segment.said
    return bool(doubtful) and (aside or is_remark(segment, alone))


def is_loose_no(segment: Segment) -> bool:
    """Whether a "no" after the news, or right before it, answers nothing: "all ok no"."""
    bare = segment.says("no") and (not segment.refs or segment.belonging or segment.benign)
    return bare and (segment.joined != "" or segment.says("good", "fixed"))


def spoils(segment: Segment) -> bool:
    """Whether a breath that settles nobody turns what is said of all."""
    return segment.asked or segment.has("question", "query", "correction") or segment.joined in CONTRAST
