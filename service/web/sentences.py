"""The sentences of pages and board. One place for words, so that they stay short and plain."""

from collections.abc import Mapping, Sequence
from datetime import date

from service.core.chains import Phase, Why
from service.core.district import Severity, Side
from service.core.reading import Then
from service.engine.burden import Burden
from service.engine.chase_views import Ahead, ChaseView
from service.engine.pages import Answer, Card, FaultNow, Page
from service.engine.roster import Asked
from service.engine.views import Board, BoardRow, SchoolView
from service.languages import N_, counted, dated
from service.languages import phrase as _

TELL_YOURSELF = N_("This service tells nobody at this moment. Tell the office and the nurse yourself, now.")
"""In an emergency, while the service is held."""

SAID: Mapping[str, str] = {
    "undone": N_("Taken back. Things stand as before your last answer."),
    "too late to undo": N_("That was too long ago to take back. Say what is right instead."),
    "not called back": N_("An emergency is not called back. Say when it is found, or with medical help."),
    "passed on": N_("Passed on: the next person is told now."),
    "nobody else": N_("Nobody else can be asked now; the coordinator sees it."),
    "nothing to record": N_("There was nothing to change."),
    "no more time": N_("That is as long as it can wait."),
    "not your turn": N_("Nothing has changed: it is with somebody else now."),
    "already told": N_("The next person has been told already, so that stays."),
    "waiting": N_("You have more time."),
    "asked again": N_("You are asked again at the next bell."),
    "in hand": N_("In hand."),
    "loaner": N_("A loaner is in use. The fault itself stays open."),
    "said to be working": N_("Noted as working. It is checked at school, and closed then."),
    "fault stays": N_("A fault reported before stays open. When it works again, say so for that child."),
    "late": N_("Kept beside the record as a late answer."),
    "emergency over": N_("The emergency is over. Everyone who was told hears so."),
    "seen by a person": N_("Noted."),
    "notice": N_("Noted; those concerned are told."),
    "replaced": N_("This stands in place of your last answer."),
    "alarm goes on": N_(
        'The emergency goes on at any hour. It ends when "found" or "with medical help" is answered and confirmed.'
    ),
    "after the day": N_("That was for an earlier day, so nothing is changed today."),
    "back": N_("Here after all: the check is asked for now."),
    "no check": N_("There is no check of this student today."),
    "confirm": N_("Please confirm it once, in the row of the emergency."),
    "which": N_("Say for each student: more than one thing is open."),
    "recorded": N_("Recorded."),
    "given": N_("The notice is given. Those concerned are told."),
    "withdrawn": N_("The notice is withdrawn. What was not yet asked is planned again."),
    "not withdrawn": N_("That notice was withdrawn before."),
    "roster": N_("Noted. The coordinator sees it."),
    "many": N_("That was many presses in a short time. Wait a minute, then go on."),
}

SEVERITY: Mapping[Severity, str] = {
    Severity.EMERGENCY: N_("Emergency"),
    Severity.URGENT: N_("Urgent"),
    Severity.SAME_DAY: N_("Today"),
    Severity.WATCH: N_("Watch"),
}

THEN: Mapping[str, str] = {
    "next": Then.NEXT_BELL.value,
    "second": Then.SECOND.value,
    "today": Then.NOT_TODAY.value,
}


def sentence(text: str) -> str:
    """A sentence begins with a capital letter."""
    return text[:1].upper() + text[1:]


def told(word: str) -> str:
    """What a word of the address says on the page it leads to; nothing for one that is none of ours."""
    return _(SAID.get(word, ""))


def checks(n: int) -> str:
    """A number of checks: "1 check", "3 checks"."""
    return counted("%(num)s check", "%(num)s checks", n)


def day(on: date) -> str:
    """A date in words: "Tuesday 15 September"."""
    return dated(on, N_("EEEE d MMMM"))


def side(value: Side | None) -> str:
    """What the button of a side says."""
    return {Side.LEFT: _("Left"), Side.RIGHT: _("Right")}.get(value, _("This")) if value else _("This")


def heading(page: Page) -> str:
    """What is to be done, by when: the first thing the eye meets."""
    n = len(page.open)
    if page.state == "closed":
        return _("No school today: %(reason)s", reason=page.reason)
    if page.state == "over" and any(c.is_missed for c in page.cards):
        return _("School is over for today")
    if not n:
        done = page.cards and not page.standing
        if not done:
            return _("Nothing to answer now")
        few = {1: _("Answered"), 2: _("Both answered")}
        return few.get(len(page.cards)) or _("All %(n)s answered", n=len(page.cards))
    if page.standing:
        return _("%(checks)s today", checks=checks(n))
    if page.by and page.state == "asked":
        return _("%(checks)s to answer by %(by)s", checks=checks(n), by=page.by)
    return _("%(checks)s to answer", checks=checks(n))


def no_cards(page: Page) -> str:
    """What a page without students says."""
    if page.standing:
        return _("No student is yours to check at the moment.")
    return _("The checks of this round were moved to a later bell. You are asked again then.")


def roster(asked: Asked) -> str:
    """What a checker is asked before a term."""
    return _(
        "%(school)s, %(term)s from %(day)s: do you check these?",
        school=asked.school,
        term=asked.term,
        day=day(asked.first),
    )


def burden(figures: Burden) -> str:
    """How much somebody is asked; their own figures, on their own page."""
    if not figures.messages:
        return _("No message to you yet this term (%(term)s).", term=figures.term)
    many = counted("%(num)s message", "%(num)s messages", figures.messages)
    if not figures.needed:
        return _("This term you got %(many)s.", many=many)
    return _("This term you got %(many)s; you answered %(n)s of them.", many=many, n=figures.needed)


def below_heading(page: Page) -> str:
    """What follows from the state of the page, or nothing."""
    if page.state == "over" and any(c.is_missed for c in page.cards):
        return _("What you answer now is kept beside the record as a late answer.")
    if page.state == "planned":
        due = next((c.due for c in page.open), "")
        return _("You are asked at %(due)s. You can answer now; then nobody asks.", due=due) if due else ""
    if page.state == "closed":
        return _("There is nothing to do. A fault can still be reported.")
    return ""


def place(page: Page) -> str:
    """Where and when: "Room 12, before Period 1"."""
    before = _("before %(bell)s", bell=page.before) if page.before else ""
    return " · ".join(p for p in (page.place or page.school, before) if p)


def answered(answer: Answer) -> str:
    """What was said: "Working. You said so at 08:06."."""
    detail = f" ({answer.detail[:1].lower()}{answer.detail[1:]})" if answer.detail else ""
    said = f"{answer.result[:1].upper()}{answer.result[1:]}{detail}."
    if not answer.at:
        return said
    if answer.by_you:
        who = _("You said so at %(at)s.", at=answer.at)
    elif answer.by:
        who = sentence(_("%(role)s said so at %(at)s.", role=answer.by, at=answer.at))
    else:
        who = _("Since %(at)s.", at=answer.at)
    return f"{said} {who}"


def silence(page: Page) -> str:
    """What happens if nobody answers, in one sentence."""
    views = [c.silence for c in page.open if c.silence]
    if not views:
        return ""
    first = min(views, key=lambda v: v.next.instant if v.next else v.began)
    if first.hand is not None and first.hand.said:
        return sentence(
            _("%(role)s has this in hand until %(until)s.", role=first.hand.role, until=first.hand.until)
        )
    if first.next is None:
        return _("Nobody else is left to ask; the coordinator knows.")
    rest = _(", then %(steps)s", steps=listed(first.ahead[1:3])) if first.ahead[1:] else ""
    return _("If nothing comes: %(step)s.", step=step(first.next) + rest)


def step(ahead: Ahead) -> str:
    """A coming step: "the coordinator is told at 08:31"."""
    return _("%(role)s is told at %(at)s", role=ahead.role or _("the next person"), at=ahead.at)


def listed(steps: Sequence[Ahead]) -> str:
    """Steps in a row: "the front office at 08:20, the coordinator at 08:30"."""
    return ", ".join(_("%(role)s at %(at)s", role=s.role or _("the next person"), at=s.at) for s in steps)


def fault_next(fault: FaultNow) -> str:
    """Who is told of a fault, when, or who has it in hand."""
    chase = fault.chase
    if chase is None:
        return _("Recorded, and open until it works again. Nobody else is told now.")
    if fault.asks and chase.next:
        return _("%(step)s, unless you say it is fixed.", step=sentence(step(chase.next)))
    return " ".join(p for p in (told_words(chase), coming(chase)) if p)


def told_words(chase: ChaseView) -> str:
    """Who has been told: "The audiologist was told at 08:16."."""
    if not chase.told:
        return ""
    last = chase.told[-1]
    return sentence(_("%(role)s was told at %(at)s.", role=last.words or _("somebody"), at=last.at))


def coming(chase: ChaseView) -> str:
    """What the chain does next, in one sentence."""
    if chase.hand is not None and chase.hand.said:
        return _("In hand with %(role)s until %(until)s.", role=chase.hand.role, until=chase.hand.until)
    if chase.phase is Phase.SAID:
        return _("Said to be working; the next check on the child closes it.")
    if chase.phase is Phase.NOBODY_LEFT:
        return _("Nobody left to tell.")
    if chase.phase is Phase.ALARM:
        return _("Everyone is told, again and again until they answer.")
    if chase.phase is Phase.HOLDING and chase.next:
        return _("Waits for the next school day: %(step)s.", step=step(chase.next))
    return f"{sentence(step(chase.next))}." if chase.next else ""


def steps_line(card: Card) -> str:
    """Today's steps in one line: "Look · Power · On the child"."""
    return " · ".join(_(s.title) for s in card.steps)


def title(board: Board) -> str:
    """The whole district in one sentence, which a tab shows too."""
    rows = [r for _, r in board.open_rows]
    faults = [r for r in rows if r.chase is not None and r.chase.why is not Why.SILENCE]
    grave = [r for r in faults if r.chase and r.chase.severity is Severity.EMERGENCY]
    parts = []
    if grave:
        parts.append(counted("%(num)s emergency.", "%(num)s emergencies.", len(grave)))
    parts.append(
        _of(board.answered, board.total) if board.total else _("Nothing has been asked yet today.")
    )
    ordinary = [r for r in faults if r not in grave]
    if ordinary:
        parts.append(counted("%(num)s fault", "%(num)s faults", len(ordinary)) + _in_hand(ordinary) + ".")
    parts.append(_what_next(board))
    return " ".join(p for p in parts if p)


def _of(answered: int, total: int) -> str:
    return _("%(n)s of %(checks)s answered.", n=answered, checks=checks(total))


def _in_hand(faults: Sequence[BoardRow]) -> str:
    held = sum(1 for r in faults if r.tone == "hand")
    if held == len(faults):
        return {1: _(", in hand"), 2: _(", both in hand")}.get(held) or _(", all in hand")
    return _(", %(n)s in hand", n=held) if held else ""


def _what_next(board: Board) -> str:
    coming_up = [(r.chase.next, s, r) for s, r in board.open_rows if r.chase and r.chase.next]
    if coming_up:
        ahead, school, row = min(coming_up, key=lambda x: (x[0].instant, x[2].key))
        where = ", ".join(p for p in (school.name, row.place) if p)
        return _("Next: %(where)s, %(who)s at %(at)s.", where=where, who=bare(ahead.role), at=ahead.at)
    planned = [(s.next_due, s) for s in board.schools if s.next_due]
    if not planned:
        return ""
    row, school = min(planned, key=lambda x: (x[0].due, x[0].key))
    where = ", ".join(p for p in (school.name, row.place) if p)
    return _("Next: %(where)s, asked at %(at)s.", where=where, at=row.asked_at)


def bare(role: str) -> str:
    """A role without its article, where a language can drop it."""
    return role.removeprefix("the ") or _("the next person")


def headline(row: BoardRow) -> str:
    """A row in a few words: "Room 4 has not answered", "Wren, left processor: cable loose"."""
    if row.chase is not None and row.chase.why is not Why.SILENCE:
        who = ", ".join((*row.who, *([row.devices] if row.devices else [])))
        label = row.chase.label or _("emergency")
        return "".join((who, _(": "), label[:1].lower(), label[1:])) if who else sentence(label)
    if row.tone == "planned":
        place = row.place or _("A round")
        return _("%(place)s: %(checks)s at %(at)s", place=place, checks=checks(row.total), at=row.asked_at)
    if row.tone == "settled":
        return _("%(place)s: %(checks)s answered", place=row.place or _("A round"), checks=checks(row.total))
    if row.open == row.total:
        return _("%(place)s has not answered", place=row.place or ", ".join(row.who))
    place = row.place or _("A round")
    return _("%(place)s: %(n)s of %(all)s not answered", place=place, n=row.open, all=row.total)


def detail(row: BoardRow) -> str:
    """The second line of a row: since when, who was told, what comes."""
    begun = _("Since %(at)s, %(age)s.", at=row.asked_at, age=minutes(row.minutes))
    asked = _("Asked at %(at)s, %(age)s.", at=row.asked_at, age=minutes(row.minutes))
    since = begun if row.tone == "fault" else asked
    if row.chase is None:
        return since
    if row.chase.why is not Why.SILENCE:
        since = begun
    trying = _("First remedy being tried until %(until)s.", until=row.chase.try_until) if row.chase.try_until else ""
    heard = told_words(row.chase) if row.chase.why is not Why.SILENCE or len(row.chase.told) > 1 else ""
    return " ".join(p for p in (since, trying, heard, coming(row.chase)) if p)


def minutes(n: int) -> str:
    """An age: "just now", "12 min", "2 h 05 min"."""
    if n < 1:
        return _("just now")
    return _("%(n)s min", n=n) if n < 60 else _("%(h)s h %(n)s min", h=n // 60, n=f"{n % 60:02}")


def confirm(how: str) -> str:
    """Asks once whether an emergency is over."""
    if how == "found":
        return _("It is found, and no child has it in the body. Is that so?")
    return _("The child is with medical help. Is that so?")


def settled(school: SchoolView) -> str:
    """A school on one line."""
    if school.reason:
        return _("No school: %(reason)s.", reason=_(school.reason))
    parts = []
    if school.total:
        parts.append(_of(school.answered, school.total))
    due = school.next_due
    if due is not None:
        parts.append(_("Next: %(place)s at %(at)s.", place=due.place or _("a round"), at=due.asked_at))
    return " ".join(parts) or _("No checks today.")


def strip_words(school: SchoolView, row: BoardRow) -> str:
    """The strip of a row, said: what happened and what will."""
    happened = "; ".join(_mark(m.kind, m.at, m.words) for m in row.marks)
    chase = row.chase
    hand = chase.hand if chase else None
    held = _("; in hand with %(role)s until %(until)s", role=hand.role, until=hand.until) if hand else ""
    ahead = _("; ahead: %(steps)s", steps=listed(chase.ahead)) if chase and chase.ahead else ""
    now = _("; now %(at)s", at=school.clock) if school.now is not None else ""
    return f"{headline(row)}. {happened}{held}{ahead}{now}."


MARKS: Mapping[str, str] = {
    "asked": N_("asked at %(at)s"),
    "planned": N_("to be asked at %(at)s"),
    "reminded": N_("reminded at %(at)s"),
    "told": N_("%(words)s told at %(at)s"),
    "working": N_("%(words)s working at %(at)s"),
    "fixed": N_("%(words)s fixed at %(at)s"),
    "fault": N_("fault at %(at)s: %(words)s"),
    "away": N_("%(words)s away or no check, %(at)s"),
    "unsaid": N_("%(words)s without an answer, %(at)s"),
}


def _mark(kind: str, at: str, words: str) -> str:
    return _(MARKS[kind], at=at, words=words).strip()


def school_words(school: SchoolView) -> str:
    """A school's day, said."""
    bells = ", ".join(f"{b.name} {b.start}" for b in school.bands)
    ends = {"first": school.first, "last": school.last}
    return _("%(school)s, %(first)s to %(last)s: %(bells)s.", school=school.name, bells=bells, **ends)
