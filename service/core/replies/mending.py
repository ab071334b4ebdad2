"""Segments put right before they are judged: exceptions that keep their good word, and corrections."""

from itertools import pairwise

from service.core.replies.faults import codes_said
from service.core.replies.segment import Segment


def regrouped(parts: list[Segment]) -> list[Segment]:
    """"Everyone but 2 is ok": what is said after the exception is said of the others, not of 2."""
    for before, after in pairwise(parts):
        begun = before.refs and not (before.said or before.unknown)
        if begun and after.joined == "together" and after.quantity == "rest":
            before.said, before.hazards = list(after.said), before.hazards + after.hazards
            before.unknown, before.nots = list(after.unknown), before.nots + after.nots
        if _goes_on(before, after):
            after.refs, after.quantity = list(before.refs), ""
        if after.joined not in ("except", "but") or not (after.refs and after.says("good")) or before.said:
            continue
        if before.unknown or before.refs or not before.quantity:
            after.unknown = after.unknown or ["but"]
        else:
            before.said, after.said = after.said, []
            before.hazards, before.unknown = before.hazards + after.hazards, before.unknown + after.unknown
    return parts


def owned(parts: list[Segment]) -> list[Segment]:
    """"His wire has frayed. 1": a student named alone at the end is whose news went before."""
    *told, last = parts or [Segment()]
    alone = last.joined in ("hard", "soft") and last.refs and not (last.said or last.odd or last.hazards or last.nots)
    if not alone or last.asked or any(part.subject or part.says("good", "fixed") for part in told):
        return parts
    if not any(part.says("faults", "parts", "bad") for part in told):
        return parts
    for part in told:
        part.refs = list(last.refs)
    return told


def _goes_on(before: Segment, after: Segment) -> bool:
    """"Did Ari, Bo, Cal. all good": "all" are those who were named right before."""
    begun = before.refs and not (before.said or before.unknown or before.hazards or before.nots or before.asked)
    of_them = after.says("good") and not (after.refs or after.strangers or after.staff or after.sides)
    follows = before.joined == "" and after.joined in ("hard", "soft") and after.quantity != "rest"
    return bool(begun and of_them and follows)


def _says_the_same(segment: Segment, last: Segment | None) -> bool:
    """Whether a sentence that begins with "sorry" says of others, or of another side, what the last one said."""
    if last is None or not last.refs or not (segment.refs or segment.sides):
        return False
    said, before = ({(item.role, item.value) for item in part.said} for part in (segment, last))
    return not segment.says("good", "fixed") and said <= before


def _is_retyped(segment: Segment, before: Segment) -> bool:
    """"2R no sorry 2L battery": what was only begun before is said whole now."""
    return bool(before.refs and segment.refs and segment.said) and not (before.said or before.unknown)


def _runs_on(before: Segment, after: Segment) -> bool:
    """"Ear mould rubbed 1R raw": one fault told on both sides of the name."""
    orphan = after.joined == "run" and not (before.subject or before.says("good", "fixed"))
    return orphan and not set(codes_said(before)).isdisjoint(codes_said(after))


def handed_on(parts: list[Segment]) -> list[Segment]:
    """"Re paired the mic, Kit and Jory hear it again": a remedy is of those who are told to be well after it."""
    for before, after in pairwise(parts):
        remedied = before.says("fixes", "fix") and not (before.subject or before.benign or before.says("good", "fixed"))
        well = after.joined in ("soft", "run") and after.says("good", "fixed")
        if after.refs and ((remedied and well) or _runs_on(before, after)):
            before.refs = list(after.refs)
    return parts


def corrected(parts: list[Segment]) -> list[Segment]:
    """`parts` after "no wait", "oops", "I mean": what was corrected is gone, what was kept is carried over."""
    kept: list[Segment] = []
    for segment in parts:
        last = next((s for s in reversed(kept) if s.said), None)
        if segment.joined == "correction" and kept and _is_retyped(segment, kept[-1]):
            kept.pop()
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
