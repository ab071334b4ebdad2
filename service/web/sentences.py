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

SAID: Mapping[str, str] = {
    "undone": "Taken back. Things stand as before your last answer.",
    "too late to undo": "That was too long ago to take back. Say what is right instead.",
    "not called back": "An emergency is not called back. Say when it is found, or with medical help.",
    "passed on": "Passed on: the next person is told now.",
    "nobody else": "Nobody else can be asked now; the coordinator sees it.",
    "nothing to record": "There was nothing to change.",
    "waiting": "You have more time.",
    "asked again": "You are asked again at the next bell.",
    "in hand": "In hand.",
    "loaner": "A loaner is in use. The fault itself stays open.",
    "said to be working": "Noted as working. It is checked at school, and closed then.",
    "late": "Kept beside the record as a late answer.",
    "emergency over": "The emergency is over. Everyone who was told hears so.",
    "seen by a person": "Noted.",
    "notice": "Noted; those concerned are told.",
    "after the day": "The school day is over; this goes on the next school day.",
    "back": "Here after all: the check is asked for now.",
    "no check": "There is no check of this student today.",
    "confirm": "Please confirm it once, in the row of the emergency.",
    "which": "Say for each student: more than one thing is open.",
    "recorded": "Recorded.",
    "given": "The notice is given. Those concerned are told.",
    "withdrawn": "The notice is withdrawn. What was not yet asked is planned again.",
    "not withdrawn": "That notice was withdrawn before.",
    "roster": "Noted. The coordinator sees it.",
    "many": "That was many presses in a short time. Wait a minute, then go on.",
}

SEVERITY: Mapping[Severity, str] = {
    Severity.EMERGENCY: "Emergency",
    Severity.URGENT: "Urgent",
    Severity.SAME_DAY: "Today",
    Severity.WATCH: "Watch",
}

THEN: Mapping[str, str] = {
    "next": Then.NEXT_BELL.value,
    "second": Then.SECOND.value,
    "today": Then.NOT_TODAY.value,
}


def sentence(text: str) -> str:
    """A sentence begins with a capital letter."""
    return text[:1].upper() + text[1:]


def some(n: int, one: str, more: str = "") -> str:
    """A number with its word: "1 check", "3 checks"."""
    return f"{n} {one if n == 1 else more or one + 's'}"


def day(on: date) -> str:
    """A date in words: "Tuesday 15 September"."""
    return f"{on:%A} {on.day} {on:%B}"


def side(value: Side | None) -> str:
    """What the button of a side says."""
    return {Side.LEFT: "Left", Side.RIGHT: "Right"}.get(value, "This") if value else "This"


def heading(page: Page) -> str:
    """What is to be done, by when: the first thing the eye meets."""
    n = len(page.open)
    if page.state == "closed":
        return f"No school today: {page.reason}"
    if page.state == "over" and any(c.is_missed for c in page.cards):
        return "School is over for today"
    if not n:
        done = page.cards and not page.standing
        if not done:
            return "Nothing to answer now"
        return {1: "Answered", 2: "Both answered"}.get(len(page.cards), f"All {len(page.cards)} answered")
    if page.standing:
        return f"{some(n, 'check')} today"
    by = f" by {page.by}" if page.by and page.state == "asked" else ""
    return f"{some(n, 'check')} to answer{by}"


def no_cards(page: Page) -> str:
    """What a page without students says."""
    if page.standing:
        return "No student is yours to check at the moment."
    return "The checks of this round were moved to a later bell. You are asked again then."


def roster(asked: Asked) -> str:
    """What a checker is asked before a term."""
    return f"{asked.school}, {asked.term} from {day(asked.first)}: do you check these?"


def burden(figures: Burden) -> str:
    """How much somebody is asked; their own figures, on their own page."""
    if not figures.messages:
        return f"No message to you yet this term ({figures.term})."
    many = some(figures.messages, "message")
    if not figures.needed:
        return f"This term you got {many}."
    return f"This term you got {many}; you answered {figures.needed} of them."


def below_heading(page: Page) -> str:
    """What follows from the state of the page, or nothing."""
    if page.state == "over" and any(c.is_missed for c in page.cards):
        return "What you answer now is kept beside the record as a late answer."
    if page.state == "planned":
        due = next((c.due for c in page.open), "")
        return f"You are asked at {due}. You can answer now; then nobody asks." if due else ""
    if page.state == "closed":
        return "There is nothing to do. A fault can still be reported."
    return ""


def place(page: Page) -> str:
    """Where and when: "Room 12, before Period 1"."""
    before = f"before {page.before}" if page.before else ""
    return " · ".join(p for p in (page.place or page.school, before) if p)


def answered(answer: Answer) -> str:
    """What was said: "Working. You said so at 08:06."."""
    detail = f" ({answer.detail[:1].lower()}{answer.detail[1:]})" if answer.detail else ""
    said = f"{answer.result[:1].upper()}{answer.result[1:]}{detail}."
    if not answer.at:
        return said
    who = "You" if answer.by_you else sentence(answer.by) if answer.by else ""
    return f"{said} {who} said so at {answer.at}." if who else f"{said} Since {answer.at}."


def silence(page: Page) -> str:
    """What happens if nobody answers, in one sentence."""
    views = [c.silence for c in page.open if c.silence]
    if not views:
        return ""
    first = min(views, key=lambda v: v.next.instant if v.next else v.began)
    if first.hand is not None and first.hand.said:
        return f"{sentence(first.hand.role)} has this in hand until {first.hand.until}."
    if first.next is None:
        return "Nobody else is left to ask; the coordinator knows."
    rest = f", then {listed(first.ahead[1:3])}" if first.ahead[1:] else ""
    return f"If nothing comes: {step(first.next)}{rest}."


def step(ahead: Ahead) -> str:
    """A coming step: "the coordinator is told at 08:31"."""
    return f"{ahead.role or 'the next person'} is told at {ahead.at}"


def listed(steps: Sequence[Ahead]) -> str:
    """Steps in a row: "the front office at 08:20, the coordinator at 08:30"."""
    return ", ".join(f"{s.role or 'the next person'} at {s.at}" for s in steps)


def fault_next(fault: FaultNow) -> str:
    """Who is told of a fault, when, or who has it in hand."""
    chase = fault.chase
    if chase is None:
        return "Recorded, and open until it works again. Nobody else is told now."
    told = told_words(chase)
    if fault.asks and chase.next:
        return f"{sentence(step(chase.next))}, unless you say it is fixed."
    return " ".join(p for p in (told, coming(chase)) if p)


def told_words(chase: ChaseView) -> str:
    """Who has been told: "The audiologist was told at 08:16."."""
    if not chase.told:
        return ""
    last = chase.told[-1]
    return f"{sentence(last.words or 'somebody')} was told at {last.at}."


def coming(chase: ChaseView) -> str:
    """What the chain does next, in one sentence."""
    if chase.hand is not None and chase.hand.said:
        return f"In hand with {chase.hand.role} until {chase.hand.until}."
    if chase.phase is Phase.SAID:
        return "Said to be working; the next check on the child closes it."
    if chase.phase is Phase.NOBODY_LEFT:
        return "Nobody left to tell."
    if chase.phase is Phase.ALARM:
        return "Everyone is told, again and again until they answer."
    if chase.phase is Phase.HOLDING and chase.next:
        return f"Waits for the next school day: {step(chase.next)}."
    return f"{sentence(step(chase.next))}." if chase.next else ""


def steps_line(card: Card) -> str:
    """Today's steps in one line: "Look · Power · On the child"."""
    return " · ".join(s.title for s in card.steps)


def title(board: Board) -> str:
    """The whole district in one sentence, which a tab shows too."""
    rows = [r for _, r in board.open_rows]
    faults = [r for r in rows if r.chase is not None and r.chase.why is not Why.SILENCE]
    grave = [r for r in faults if r.chase and r.chase.severity is Severity.EMERGENCY]
    parts = []
    if grave:
        parts.append(f"{some(len(grave), 'emergency', 'emergencies')}.")
    parts.append(
        f"{board.answered} of {some(board.total, 'check')} answered."
        if board.total
        else "Nothing has been asked yet today."
    )
    ordinary = [r for r in faults if r not in grave]
    if ordinary:
        parts.append(f"{some(len(ordinary), 'fault')}{_in_hand(ordinary)}.")
    parts.append(_what_next(board))
    return " ".join(p for p in parts if p)


def _in_hand(faults: Sequence[BoardRow]) -> str:
    held = sum(1 for r in faults if r.tone == "hand")
    if held == len(faults):
        return {1: ", in hand", 2: ", both in hand"}.get(held, ", all in hand")
    return f", {held} in hand" if held else ""


def _what_next(board: Board) -> str:
    coming_up = [(r.chase.next, s, r) for s, r in board.open_rows if r.chase and r.chase.next]
    if coming_up:
        ahead, school, row = min(coming_up, key=lambda x: (x[0].instant, x[2].key))
        where = ", ".join(p for p in (school.name, row.place) if p)
        return f"Next: {where}, {_bare(ahead.role)} at {ahead.at}."
    planned = [(s.next_due, s) for s in board.schools if s.next_due]
    if not planned:
        return ""
    row, school = min(planned, key=lambda x: (x[0].due, x[0].key))
    where = ", ".join(p for p in (school.name, row.place) if p)
    return f"Next: {where}, asked at {row.asked_at}."


def _bare(role: str) -> str:
    return role.removeprefix("the ") or "the next person"


def headline(row: BoardRow) -> str:
    """A row in a few words: "Room 4 has not answered", "Wren, left processor: cable loose"."""
    if row.chase is not None and row.chase.why is not Why.SILENCE:
        who = ", ".join((*row.who, *([row.devices] if row.devices else [])))
        label = row.chase.label or "emergency"
        return f"{who}: {label[:1].lower()}{label[1:]}" if who else sentence(label)
    if row.tone == "planned":
        return f"{row.place or 'A round'}: {some(row.total, 'check')} at {row.asked_at}"
    if row.tone == "settled":
        return f"{row.place or 'A round'}: {some(row.total, 'check')} answered"
    some_answered = f"{row.open} of {row.total} not answered" if row.open < row.total else "has not answered"
    return (
        f"{row.place or ', '.join(row.who)} {some_answered}"
        if row.open == row.total
        else (f"{row.place or 'A round'}: {some_answered}")
    )


def detail(row: BoardRow) -> str:
    """The second line of a row: since when, who was told, what comes."""
    since = f"{'Since' if row.tone == 'fault' else 'Asked at'} {row.asked_at}, {minutes(row.minutes)}."
    if row.chase is None:
        return since
    if row.chase.why is not Why.SILENCE:
        since = f"Since {row.asked_at}, {minutes(row.minutes)}."
    trying = f"First remedy being tried until {row.chase.try_until}." if row.chase.try_until else ""
    told = told_words(row.chase) if row.chase.why is not Why.SILENCE or len(row.chase.told) > 1 else ""
    return " ".join(p for p in (since, trying, told, coming(row.chase)) if p)


def minutes(n: int) -> str:
    """An age: "just now", "12 min", "2 h 05 min"."""
    if n < 1:
        return "just now"
    return f"{n} min" if n < 60 else f"{n // 60} h {n % 60:02} min"


def confirm(how: str) -> str:
    """Asks once whether an emergency is over."""
    if how == "found":
        return "It is found, and no child has it in the body. Is that so?"
    return "The child is with medical help. Is that so?"


def settled(school: SchoolView) -> str:
    """A school on one line."""
    if school.reason:
        return f"No school: {school.reason}."
    parts = []
    if school.total:
        parts.append(f"{school.answered} of {some(school.total, 'check')} answered.")
    due = school.next_due
    if due is not None:
        parts.append(f"Next: {due.place or 'a round'} at {due.asked_at}.")
    return " ".join(parts) or "No checks today."


def strip_words(school: SchoolView, row: BoardRow) -> str:
    """The strip of a row, said: what happened and what will."""
    happened = "; ".join(_mark(m.kind, m.at, m.words) for m in row.marks)
    chase = row.chase
    held = f"; in hand with {chase.hand.role} until {chase.hand.until}" if chase and chase.hand else ""
    ahead = f"; ahead: {listed(chase.ahead)}" if chase and chase.ahead else ""
    now = f"; now {school.clock}" if school.now is not None else ""
    return f"{headline(row)}. {happened}{held}{ahead}{now}."


MARKS: Mapping[str, str] = {
    "asked": "asked at {at}",
    "planned": "to be asked at {at}",
    "reminded": "reminded at {at}",
    "told": "{words} told at {at}",
    "working": "{words} working at {at}",
    "fixed": "{words} fixed at {at}",
    "fault": "fault at {at}: {words}",
    "away": "{words} away or no check, {at}",
    "unsaid": "{words} without an answer, {at}",
}


def _mark(kind: str, at: str, words: str) -> str:
    return MARKS[kind].format(at=at, words=words).strip()


def school_words(school: SchoolView) -> str:
    """A school's day, said."""
    bells = ", ".join(f"{b.name} {b.start}" for b in school.bands)
    return f"{school.name}, {school.first} to {school.last}: {bells}."
