"""Chains, from stored documents to the values of the core."""

from service.core.district import Chain, Contact, ContactKind, Limit, Role, Step
from service.setup.docs import View, view
from service.setup.phrases import split_bell
from service.setup.values import read_duration

_OF_THE_ROUND = {"checker": ContactKind.CHECKER, "second": ContactKind.SECOND}
_ROLES = frozenset(role.value for role in Role)


def build_chain(id: str, document: View) -> Chain:
    """A chain of a stored document."""
    plain = Chain(id, ())
    return Chain(
        id=id,
        steps=tuple(_step(view(step)) for step in document.items("steps")),
        reminders=document.whole("reminders", plain.reminders),
        mine_at_most=(
            read_duration(document.text("mine at most"))
            if document.has("mine at most")
            else plain.mine_at_most
        ),
        carries_on=document.text("after hours") == "carry on",
    )


def build_contact(tell: str) -> Contact:
    """Whom a step tells: the round's checker or second, a role, or a person."""
    if tell in _OF_THE_ROUND:
        return Contact(_OF_THE_ROUND[tell])
    if tell in _ROLES:
        return Contact(ContactKind.ROLE, role=Role(tell))
    return Contact(ContactKind.PERSON, person=tell)


def build_limit(stored: object) -> Limit:
    """The limit of a step; without one, until the end of the day."""
    if stored is None or stored == "end of day":
        return Limit()
    if isinstance(stored, str):
        return Limit(span=read_duration(stored))
    parts = view(stored)
    edge, bell = split_bell(parts.text("until"))
    otherwise = read_duration(parts.text("else")) if parts.has("else") else Limit().otherwise
    return Limit(bell=bell, edge=edge, otherwise=otherwise)


def _step(step: View) -> Step:
    return Step(
        contact=build_contact(step.text("tell")),
        limit=build_limit(step.of.get("limit")),
        channels=step.texts("channels"),
        any_hour=step.flag("any hour"),
    )
