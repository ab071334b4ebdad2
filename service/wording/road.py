"""The road of a fault in words: where it is, what is asked of it, what the child has meanwhile, why a loaner stays."""

from datetime import date

from service.core.road import Access, Stage
from service.core.road.asking import Ask
from service.core.road.loaners import Refusal
from service.languages import N_, dated, gettext, phrase

STAGES = {
    Stage.REPORTED: N_("reported"),
    Stage.TRIED: N_("tried in class"),
    Stage.IN_HAND: N_("in hand"),
    Stage.HOME: N_("at home"),
    Stage.CLINIC: N_("with clinic"),
    Stage.REPAIR: N_("at repair"),
    Stage.SAID: N_("said to be working"),
    Stage.WORKING: N_("working"),
    Stage.OVER: N_("over"),
    Stage.NO_FAULT: N_("taken back"),
    Stage.LEFT: N_("left the school"),
}

UNTIL = {
    Stage.HOME: N_("at home, promised for %(day)s"),
    Stage.CLINIC: N_("with clinic, promised for %(day)s"),
    Stage.REPAIR: N_("at repair, promised for %(day)s"),
}

ASKS = {
    Ask.WORKS: N_("does it work again?"),
    Ask.BACK: N_("is it back?"),
    Ask.LOANER: N_("a loaner is worn, so check that."),
    Ask.SEEN: N_("said to be working, so check it on the child."),
    Ask.CHILD: N_("how is the child this morning?"),
}

ACCESS = {
    Access.SEAT: N_("sat in front"),
    Access.NOTES: N_("notes given"),
    Access.OTHER: N_("another way"),
}

REFUSALS = {
    Refusal.ANOTHERS: N_(
        "It is set for another student. A device or a map is never lent across students: what fits one child's hearing "
        "can be too loud, or nothing, for another."
    ),
    Refusal.NOT_SET: N_("It is not set for this student yet. The audiologist sets it first."),
    Refusal.OUT: N_("It is out with another student."),
    Refusal.OTHER_KIND: N_("It is another kind of device than the one that does not work."),
    Refusal.OTHER_SIDE: N_("It is made for the other side."),
}


def stage_words(stage: Stage) -> str:
    """A stage: "at repair"."""
    return gettext(STAGES[stage])


def where_words(stage: Stage, promised: date | None) -> str:
    """Where it is, with the date that was given: "at repair, promised for Friday 16 October"."""
    if promised is None or stage not in UNTIL:
        return stage_words(stage)
    return phrase(UNTIL[stage], day=dated(promised, N_("EEEE d MMMM")))


def asks_words(ask: Ask, stage: Stage, promised: date | None) -> str:
    """What the morning asks of it: "at repair, promised for Friday 16 October: is it back?"."""
    words = gettext(ASKS[ask])
    if ask is not Ask.BACK:
        return words
    return phrase("%(where)s: %(asks)s", where=where_words(stage, promised), asks=words)


def access_words(access: str) -> str:
    """What the child had instead."""
    return gettext(ACCESS[Access(access)]) if access in set(Access) else access


def refusal_words(refusal: Refusal) -> str:
    """Why a loaner may not go to a student."""
    return gettext(REFUSALS[refusal])
