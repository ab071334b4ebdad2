"""Cards as pages: the same facts as the printed ones, for whoever may see the board."""

import pytest
from markupsafe import escape
from web_district import BOARD_KEY

from service.engine import cards


@pytest.fixture
def board(client):
    client.post("/board/key", data={"key": BOARD_KEY})
    return client


def test_every_fact_of_a_card_stands_on_its_page_with_its_drawings(board, morning):
    with morning.desk.glance() as m:
        made = [cards.of_student(m, "s-110"), cards.of_office(m, "hollow-road")]
    pages = [board.get(f"/board/cards/{path}").text for path in ("student/s-110", "office/hollow-road")]
    for card, page in zip(made, pages, strict=True):
        said = [t for s in (*card.sections, card.emergency) for x in s.lines for t in (s.heading, x.lead, x.text)]
        assert [text for text in (card.title, card.place, card.foot, *said) if str(escape(text)) not in page] == []
        assert page.count("<svg") == len(card.pictures)


def test_the_list_leads_to_every_card_and_the_board_to_the_list(board, morning):
    assert 'href="/board/cards"' in board.get("/board").text
    page = board.get("/board/cards").text
    with morning.desk.glance() as m:
        assert [s for s in m.district.students if f"/board/cards/student/{s}" not in page] == []
        assert [s for s in m.district.schools if f"/board/cards/office/{s}" not in page] == []
    assert board.get("/board/cards/student/nobody").status_code == 404


@pytest.mark.parametrize("path", ["", "/student/s-110", "/office/hollow-road"])
def test_without_the_key_no_card_is_shown(client, path):
    refused = client.get(f"/board/cards{path}", follow_redirects=False)
    assert (refused.status_code, refused.headers["location"]) == (303, "/board")
