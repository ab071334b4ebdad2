"""One person's tray, emptied as one message; and the same words as a mail page."""

from dataclasses import replace
from html.parser import HTMLParser

import pytest
from letters_made import (
    CHECKER,
    COORDINATOR,
    GUARDIAN,
    NEXT,
    ROOM,
    SCHOOL,
    SHARED,
    caution,
    every_letter,
    faulty,
    silent,
    working,
)

from service.core.district import Role, Severity
from service.wording.compose import LINK, compose, compose_many, fill, html
from service.wording.letters import About, Alert, Ask, Event, Item, News, Prompt, Question, Reader, Second

WREN, MOSS = working(1, "Wren"), faulty(2, "Moss", "CABLE")


def silence(by: str, n: int = 1, to: Reader = COORDINATOR) -> Second:
    return Second(to, (silent(*[WREN] * n),), by, NEXT)


def fault(severity: Severity = Severity.SAME_DAY, by: str = "08:26", to: Reader = COORDINATOR) -> Alert:
    return Alert(to, severity, (MOSS,), ROOM, SCHOOL, "08:06", Role.CHECKER, by, number="000")


class TestATrayEmptiedAtOnce:
    def test_of_one_letter_is_that_letter(self) -> None:
        assert compose_many([fault()]) == compose(fault())

    def test_of_nothing_is_an_error(self) -> None:
        with pytest.raises(ValueError, match="at least one"):
            compose_many([])

    def test_says_thirty_silences_as_one_with_the_earliest_limit(self) -> None:
        written = compose_many([silence(f"08:{n}", 2) for n in reversed(range(20, 35))])
        assert written.lock_line == "30 checks silent, to take in hand by 08:20"
        assert written.text.count("Hollow Road") == 1

    def test_counts_what_is_in_it_and_says_what_is_first(self) -> None:
        news = News(COORDINATOR, Event.FIXED, (MOSS,), ROOM, "08:08")
        question = Question(COORDINATOR, (Ask(About.UNCLEAR),))
        written = compose_many([news, silence("08:20", 3), fault(), question])
        assert written.lock_line == "3 checks, 1 fault, 1 question and 1 more message, first by 08:20"

    def test_puts_the_gravest_first(self) -> None:
        written = compose_many([silence("08:20"), fault(), fault(Severity.URGENT, "08:11")])
        assert written.lock_line.startswith("Urgent: ")
        headings = [block.split("\n")[0] for block in written.text.split("\n\n")]
        assert headings[1:4] == [
            "Urgent: 1 fault to take in hand by 08:11",
            "1 fault to take in hand by 08:26",
            "1 check silent, to take in hand by 08:20",
        ]

    def test_lets_an_emergency_speak_first_and_alone(self) -> None:
        written = compose_many([silence("08:20"), fault(Severity.EMERGENCY), fault()])
        assert written.lock_line == "Emergency: read this now"
        assert written.text.startswith("Emergency: read this now\nHollow Road")

    def test_keeps_a_caution_whole_and_in_front(self) -> None:
        alone = compose(caution()).text.removesuffix("\n" + LINK)
        assert compose_many([fault(to=CHECKER), caution()]).text.startswith(alone)
        assert compose_many([fault(to=SHARED), caution(SHARED)]).text.startswith(alone)

    def test_sends_a_shared_channel_one_line_and_the_link(self) -> None:
        written = compose_many([silence("08:20", to=SHARED), fault(to=SHARED)])
        assert written.text == f"1 check and 1 fault, first by 08:20\n{LINK}"

    def test_leaves_the_rest_to_the_link_after_five(self) -> None:
        written = compose_many([fault(by=f"08:{n}") for n in range(20, 29)])
        assert "And 4 more: see the link." in written.text

    def test_holds_one_link_however_many_letters(self) -> None:
        for to in (COORDINATOR, GUARDIAN, SHARED):
            text = compose_many(every_letter(to, (WREN, MOSS))).text
            assert text.count(LINK) == 1
            assert text.endswith(LINK)

    def test_never_tells_a_child_in_its_first_line(self) -> None:
        letters = every_letter(COORDINATOR, (WREN, MOSS))
        for i, letter in enumerate(letters):
            line = compose_many([letter, letters[i - 1]]).lock_line
            assert not any(word in line for word in ("Wren", "Moss", "CABLE", ROOM, SCHOOL))

    def test_keeps_silences_of_a_checker_and_of_an_onlooker_apart(self) -> None:
        written = compose_many([silence("08:20"), replace(silence("08:25"), with_child=True)])
        assert "1 check to do by 08:25" in written.text
        assert "1 check silent, to take in hand by 08:20" in written.text


class Page(HTMLParser):
    """The words and the addresses of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.addresses: list[str] = []
        self.tags: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.addresses += [value or "" for name, value in attrs if name in ("href", "src", "style")]

    def handle_data(self, data: str) -> None:
        self.words += data.split()


class TestTheMailPage:
    LINK = "https://x.example/r/1?a=b&c=d"

    def test_says_the_same_words_as_the_text(self) -> None:
        text = compose_many([fault(), silence("08:20")]).text
        assert Page(html(text, self.LINK)).words == fill(text, self.LINK).split()

    def test_loads_nothing_and_links_once(self) -> None:
        page = Page(html(compose(fault()).text, self.LINK))
        assert page.addresses == [self.LINK]
        assert page.tags <= {"html", "head", "meta", "body", "p", "br", "a"}

    def test_keeps_markup_in_an_alias_as_words(self) -> None:
        item = Item(1, "<img src=x>&", "left processor")
        page = Page(html(compose(Prompt(CHECKER, "08:20", (item,), ROOM)).text, self.LINK))
        assert "img" not in page.tags
        assert "src=x>&," in page.words

    def test_needs_no_link(self) -> None:
        assert Page(html(compose(fault()).text, None)).addresses == []
