"""The page of supplies: behind the board's key, counted by who says who they are, and an order list safe to open."""

import csv
import io
import re

import pytest
from fastapi.testclient import TestClient
from httpx import Response
from sqlmodel import select
from web_district import BOARD_KEY, DEMO, Morning

from service.engine import commands
from service.engine.supplies import stands
from service.setup import load
from service.store.tables import SupplyCount

PAGE = "/board/supplies"


@pytest.fixture
def shelves(client: TestClient, morning: Morning) -> TestClient:
    """A browser in which the key was given; both shelves were counted the day before."""
    documents = load(DEMO, {}).documents
    counted = {id: {**shelf, "counted": "2026-09-14"} for id, shelf in documents["supplies"].items()}
    commands.configure(morning.desk, {**documents, "supplies": counted}, "c-reed")
    client.post("/board/key", data={"key": BOARD_KEY})
    return client


def form(page: str, shelf: str) -> dict[str, str]:
    """The fields of a shelf's form as they stand on the page."""
    section = page[page.index(f'id="{shelf}"') :]
    inputs = re.findall(r'<input[^>]* ?name="([^"]+)"[^>]*value="([^"]*)"', section[: section.index("</form>")])
    return dict(inputs)


def count(browser: TestClient, shelf: str = "road-13", actor: str = "c-reed", **typed: str) -> Response:
    """Fill in a shelf's form of a freshly loaded page, and send it."""
    filled = {**form(browser.get(PAGE).text, shelf), "actor": actor, **typed}
    return browser.post(f"{PAGE}/count", data=filled)


def made(morning: Morning) -> list[SupplyCount]:
    with morning.store.reading() as tx:
        return list(tx.exec(select(SupplyCount)))


def test_without_the_key_nothing_of_the_shelves_is_shown_or_changed(client: TestClient, morning: Morning) -> None:
    assert "Key" in client.get(PAGE).text
    assert client.get(f"{PAGE}/order.csv").status_code == 401
    client.post(f"{PAGE}/count", data={"shelf": "road-13", "n1": "5", "actor": "c-reed"})
    assert made(morning) == []


def test_each_shelf_says_when_it_is_empty_what_to_order_and_draws_how_full_it_is(shelves: TestClient) -> None:
    text = shelves.get(PAGE).text
    assert "<title>Supplies: 1 shelf to fill</title>" in text
    assert re.search(r"Room 12: size-13 cells.*?Likely empty by", text, re.DOTALL)
    assert re.search(r"Wren's own: cables \(short\).*?Ask the family for \d", text, re.DOTALL)
    assert 'aria-label="8 on the shelf, 0 on order; to be ordered at 6 or fewer"' in text
    assert "we do not know yet" in text


def test_a_count_stands_from_then_on_with_who_counted_and_its_dates(shelves: TestClient, morning: Morning) -> None:
    answer = count(shelves, n1="12", until1="2027-03-31", n2="3", until2="", coming="6")
    assert "Counted. The record has it." in answer.text
    assert "15 on the shelf, 6 on order" in answer.text
    assert "An older count does not hold: Monday 14 September, in the folder." in answer.text
    (row,) = made(morning)
    lots = [{"count": 12, "until": "2027-03-31"}, {"count": 3, "until": None}]
    assert (row.by, row.pieces, row.on_order) == ("c-reed", lots, 6)


def test_the_same_form_sent_twice_is_one_count(shelves: TestClient, morning: Morning) -> None:
    filled = {**form(shelves.get(PAGE).text, "road-13"), "actor": "c-reed", "n1": "4"}
    for _ in range(2):
        assert "The record has it" in shelves.post(f"{PAGE}/count", data=filled).text
    assert len(made(morning)) == 1


def test_a_count_over_one_that_was_not_seen_is_not_taken(shelves: TestClient, morning: Morning) -> None:
    stale = {**form(shelves.get(PAGE).text, "road-13"), "actor": "a-vane", "n1": "9"}
    count(shelves, n1="4")
    assert "Somebody else has counted" in shelves.post(f"{PAGE}/count", data=stale).text
    assert [row.by for row in made(morning)] == ["c-reed"]


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"n1": "a dozen"}, "“a dozen” is no number of pieces: write a whole number, as 12."),
        ({"n1": "-3"}, "“-3” is no number of pieces"),
        ({"n1": "3", "until1": "soon"}, "“soon” is no date: write it as 2027-03-31."),
        ({"n1": "", "n2": "", "until1": "", "until2": ""}, "Where nothing is left, write 0."),
        ({"n1": "", "until1": "2027-01-01"}, "Row 1 has a date and no number."),
        ({"n1": "3", "coming": "x"}, "“x” is no number of pieces"),
    ],
)
def test_what_is_wrong_with_a_count_is_said_and_what_was_typed_is_kept(
    shelves: TestClient, morning: Morning, typed: dict[str, str], says: str
) -> None:
    answer = count(shelves, **typed)
    assert answer.status_code == 422
    assert says in answer.text
    kept = form(answer.text, "road-13")
    assert {name: kept[name] for name in typed} == typed
    assert made(morning) == []


def test_nobody_counts_without_a_name_or_from_another_page(shelves: TestClient, morning: Morning) -> None:
    assert count(shelves, actor="").status_code == 422
    assert count(shelves, token="0" * 64).status_code == 403
    assert made(morning) == []


def test_the_order_list_opens_safely_in_a_spreadsheet(shelves: TestClient, morning: Morning) -> None:
    answer = shelves.get(f"{PAGE}/order.csv")
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    assert "attachment" in answer.headers["content-disposition"]
    (row,) = csv.DictReader(io.StringIO(answer.text))
    with morning.desk.glance() as m:
        low = next(stand for stand in stands(m) if stand.order.count)
    assert (row["shelf"], row["owner"], row["order"]) == (low.shelf.id, "s-110", str(low.order.count))
