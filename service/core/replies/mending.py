"""Segments put right before they are judged: exceptions that keep their good word, and corrections."""

from itertools import pairwise

from service.core.replies.segment import Segment


def regrouped(parts: list[Segment]) -> list[Segment]:
    """"Everyone but 2 is ok": what is said after the exception is said of the others, not of 2."""
    for before, after in pairwise(parts):
        if after.joined not in ("except", "but") or not (after.refs and after.says("good")) or before.said:
            continue
        if before.unknown or not before.quantity:
            after.unknown = after.unknown or ["but"]
        else:
            before.said, after.said = after.said, []
            before.hazards, before.unknown = before.hazards + after.hazards, before.unknown + after.unknown
    return parts


def _says_the_same(segment: Segment, last: Segment | None) -> bool:
    """Whether a sentence that begins with "sorry" says of others, or of another side, what the last one said."""
    if last is None or not last.refs or not (segment.refs or segment.sides):
        return False
    said, before = ({(item.role, item.value) for item in part.said} for part in (segment, last))
    return not segment.says("good", "fixed") and said <= before


def corrected(parts: list[Segment]) -> list[Segment]:
    """`parts` after "no wait", "oops", "I mean": what was corrected is gone, what was kept is carried over."""
    kept: list[Segment] = []
    for segment in parts:
        last = next((s for s in reversed(kept) if s.said), None)
        if segment.joined == "sorry" and _says_the_same(segment, last):
            segment.joined = "correction"
        if segment.joined != "correction" or last is None or not (segment.subject or segment.said or segment.sides):
            kept.append(segment)
            continue
        segment.hazards = [h for h in segment.hazards if h.role != "correction"]
        kept.remove(last)
        if not segment.said and not last.says("good", "fixed"):
            segment.said, segment.sides = last.said, segment.sides or last.sides
            segment.missed, segment.devices = last.missed, segment.devices or last.devices
        segment.narrowed = bool(segment.refs) and not last.refs
        if not segment.subject:
            segment.refs, segment.quantity = last.refs, last.quantity
            for ref in segment.refs if len(segment.sides) == 1 else ():
                ref.side = segment.sides[0]
        kept.append(segment)
    return kept
