"""What a short answer means after the question or the words before it.

A follow-up is never read by rules of its own. It is put together with what it answers ("which student?" and "2"
after "battery dead" become "2 battery dead"), and the reader reads that as if it had been written at once, with all
its care. An answer to a question about some students says nothing of the others.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from service.core import replies
from service.core.reading import Aside, Asked, Audience, Command, Doubt, Question, Reading, Result
from service.core.replies.words import Words

WHO = (Doubt.WHICH_STUDENT, Doubt.NO_SUCH_STUDENT, Doubt.WHICH_ONE)
"""Questions that a number or a name answers."""

NOD = (Doubt.UNCLEAR, Doubt.HEDGED)
"""Questions that ask for an "ok" by name. After any other it may mean "I have read that"."""

CLAUSES = re.compile(r"[,.;!\n]+|\bbut\b|\bpero\b|\bmais\b", re.IGNORECASE)

_NOT = re.compile(
    r"^\W*(?:(?:no|non|nope|sorry|oops|wait|meant|i|mean|it|is|its|was|that|actually|correction"
    r"|perdón|perdon|espera|digo|era|pardon|attends|je|voulais|dire|c'est)\W+)*"
    r"(?P<right>[\w']+)\W+(?:not|no|pas)\W+(?P<wrong>[\w']+)\W*$",
    re.IGNORECASE,
)
"""`no wait, 2 not 3`. The words before it are from memory."""

_SIDES = {"left", "right", "l", "r", "izquierdo", "izquierda", "derecho", "derecha", "gauche", "droite", "droit"}

_BUSY = re.compile(
    r"^\W*(?:(?:sorry|im|i'm|i am|we're|we are|too|very|really|so|just|still|a bit|perdón|estoy|muy|désolée?|je suis"
    r"|trop)\W+)*(?:busy|swamped|slammed|hectic|in a meeting|in class|(?:not|can't|cant) (?:right )?now"
    r"|ocupad[ao]|ahora no|en clase|en una reunión|occupée?|pas maintenant|en réunion|en cours)"
    r"(?:\W+(?:now|right now|atm|at the moment|this morning|sorry|ahora|en este momento|maintenant|en ce moment))*\W*$",
    re.IGNORECASE,
)
"""No time now, and nothing else; from memory."""

_WORD = re.compile(r"\W*\w+\W*")
_NUMBER_FIRST = re.compile(r"^\W*(?:#|nr\.?|no\.?)?\s*\d+\W+")
_BOTH = {"both", "all", "both of them", "ambas", "ambos", "las dos", "los dos", "todas", "todos", "les deux", "tous"}
"""All rounds that are open; from memory."""


@dataclass(frozen=True)
class Reader:
    """Reads words about what was asked."""

    asked: Asked
    words: Words

    def read(self, text: str) -> Reading:
        """What the text says."""
        return replies.read(text, self.asked, self.words)

    def is_nod(self, text: str) -> bool:
        """Whether a text, by itself, may only say that something was seen."""
        as_contact = replace(self.asked, audience=Audience.CONTACT)
        seen = replies.read(text, as_contact, self.words)
        return not seen.outcomes and seen.command is None and {q.doubt for q in seen.questions} <= {Doubt.UNCLEAR}


@dataclass(frozen=True)
class Choice:
    """One of several rounds that are open: the word we ask for, its time as `HH:MM`, and its room."""

    word: str
    time: str
    room: str


def puts_off(text: str, read: Reading, reader: Reader) -> Reading:
    """`read`, and where it found no sense in words of nobody in particular that only put off: "later" for all.

    What "later" is of the one student asked about it is of several as well.
    """
    if read.questions != (Question(Doubt.UNCLEAR),) or read != Reading(questions=read.questions, because=read.because):
        return read
    later = _BUSY.match(text.replace("’", "'")) is not None or _is_later(text, reader)
    return Reading(questions=(Question(Doubt.LATER),)) if later else read


def _is_later(text: str, reader: Reader) -> bool:
    """Whether the words put off when they are said of one student."""
    if len(reader.asked.students) < 2:
        return False
    alone = replace(reader.asked, students=reader.asked.students[:1])
    said = replies.read(text, alone, reader.words)
    nothing = not said.outcomes and said.command is None and not said.emergency
    return nothing and bool(said.questions) and all(q.doubt is Doubt.LATER for q in said.questions)


def is_correction(text: str) -> bool:
    """Whether a text has the form of one ("no wait, 2 not 3")."""
    return _NOT.match(text) is not None


def corrected(text: str, before: str, reader: Reader) -> str | None:
    """The words `before` with what `text` puts right in them, a student or a side; None where it corrects nothing
    that was said there, or something that was said there more than once.
    """
    found = _NOT.match(text)
    if found is None or not _are_alike(found["right"].casefold(), found["wrong"].casefold(), reader):
        return None
    wrong = re.compile(rf"(?<!\w){re.escape(found['wrong'])}(?!\w)", re.IGNORECASE)
    if len(wrong.findall(before)) != 1:
        return None
    return wrong.sub(lambda _: found["right"], before)


def _are_alike(right: str, wrong: str, reader: Reader) -> bool:
    """Whether both are sides, or both students: "2 not ok" corrects nothing."""
    if right in _SIDES or wrong in _SIDES:
        return right in _SIDES and wrong in _SIDES
    return all(_only_points(word, reader.read(word)) for word in (right, wrong))


def chosen(text: str, choices: Sequence[Choice]) -> tuple[int, ...]:
    """Which of the rounds a text names, by word, time or room; none where it names none, or says more than that."""
    said = " ".join(re.findall(r"[\w:']+", text.casefold()))
    if said in _BOTH:
        return tuple(range(len(choices)))
    by_word = [at for at, choice in enumerate(choices) if said == choice.word]
    clock = re.sub(r"\D", "", said).zfill(4)
    is_time = re.fullmatch(r"(?:the |at |las |a las |de )?\d{1,2}[:h]?\d{2}(?: one)?", said) is not None
    by_time = [at for at, choice in enumerate(choices) if is_time and clock == choice.time.replace(":", "")]
    room = re.sub(r"^(?:the )?(?:room|salle|aula|sala) ", "", said)
    by_room = [at for at, choice in enumerate(choices) if room == choice.room.casefold() and room != said]
    found = by_word or by_time or by_room
    return tuple(found) if len(found) == 1 else ()


def answered(text: str, open: Sequence[Question], before: str, reader: Reader) -> Reading | None:
    """What `text` means as an answer to the `open` questions about the words `before`; None where it stands by
    itself. What it leaves open is among the questions of the reading.
    """
    own = reader.read(text)
    stands = bool(own.outcomes) and bool(own.pointed)
    if not open or own.emergency or stands or own.command not in (None, Command.WORKING) or own == Reading():
        return None
    for at, question in enumerate(open):
        rest = tuple(q for n, q in enumerate(open) if n != at)
        for reading in _answers(text, own, question, before, reader):
            return replace(reading, questions=(*reading.questions, *rest))
    if own.aside is not None:
        return None
    return _both(text, own, before, reader) or _asked_again(own, open)


def _answers(text: str, own: Reading, question: Question, before: str, reader: Reader) -> Iterator[Reading]:
    if question.doubt in WHO and _only_points(text, own):
        yield from _named(text, own, before, reader)
    if not question.numbers or own.pointed:
        return
    lead = ", ".join(map(str, question.numbers))
    alone = _WORD.fullmatch(text) is not None and "?" not in text
    if question.doubt is Doubt.HEDGED and alone and own.aside is not None:
        good = own.aside is Aside.YES
        yield reader.read(f"{lead} ok") if good else Reading(questions=(Question(Doubt.NOT_OK, question.numbers),))
        return
    reading = reader.read(f"{lead} {text}")
    seen = _is_good(reading) and question.doubt not in NOD and reader.is_nod(text)
    if settles(reading, question.numbers) and not seen:
        yield reading
    if question.doubt is Doubt.WHICH_SIDE and alone and not own.outcomes:
        sided = reader.read(f"{lead} {text} ok")
        yield from [sided] if settles(sided, question.numbers) else []


def _only_points(text: str, own: Reading) -> bool:
    """Whether a text names students and says nothing of them."""
    unclear = {q.doubt for q in own.questions} <= {Doubt.UNCLEAR}
    return bool(own.pointed) and not own.outcomes and own.aside is None and unclear and "?" not in text


def _named(text: str, own: Reading, before: str, reader: Reader) -> Iterator[Reading]:
    """What was said of nobody before, said of those who are named now."""
    for clause in [before, *filter(str.strip, CLAUSES.split(before))]:
        alone = reader.read(clause)
        asks = alone.emergency or any(q.doubt in WHO for q in alone.questions)
        if not (asks or alone.command in (Command.WORKING, Command.LOANER)) or alone.outcomes:
            continue
        reading = reader.read(f"{text.strip()} {_NUMBER_FIRST.sub('', clause.strip())}")
        if set(reading.outcomes) == own.pointed and not reading.questions:
            yield reading
        elif reading.command is Command.LOANER:
            yield replace(reading, pointed=own.pointed)


def settles(reading: Reading, numbers: Sequence[int]) -> bool:
    """Whether a reading says something clear of students asked about, and of no one else."""
    said = set(reading.outcomes)
    plain = reading.command in (None, Command.WORKING) and not reading.emergency
    return bool(said) and said <= set(numbers) and not reading.questions and plain


def _is_good(reading: Reading) -> bool:
    return any(o.result in (Result.WORKING, Result.FIXED) for o in reading.outcomes.values())


def _both(text: str, own: Reading, before: str, reader: Reader) -> Reading | None:
    """Words that only mean something beside those before them ("rest ok"): both read as one, without what was
    recorded of the first already.
    """
    if own.outcomes or not any(q.doubt is Doubt.WHICH_STUDENT for q in own.questions):
        return None
    reading, known = reader.read(f"{before}, {text}"), reader.read(before).outcomes
    new = {n: o for n, o in reading.outcomes.items() if n not in known}
    return replace(reading, outcomes=new) if new else None


def _asked_again(own: Reading, open: Sequence[Question]) -> Reading | None:
    """Words that do not answer: the same is asked again, rather than a word for all taken where some were asked
    about. An "ok" to "we ask again" becomes the question whether it works.
    """
    if any(q.numbers for q in open) and _is_good(own) and not own.pointed:
        certain = {Doubt.LATER: Doubt.HEDGED}
        return Reading(questions=tuple(replace(q, doubt=certain.get(q.doubt, q.doubt)) for q in open))
    lost = not own.outcomes and all(q.doubt is Doubt.UNCLEAR and not q.numbers for q in own.questions)
    left = tuple(q for q in open if q.doubt is not Doubt.LATER)
    return Reading(questions=left) if lost and left else None
