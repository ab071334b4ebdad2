"""The board: opened by a key, fresh without a reload, acted on by whoever says who they are."""

import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select
from web_district import BOARD_KEY, Morning

from service.engine import held
from service.store import chases
from service.store.journal import JournalRow
from service.store.tables import NoticeRow
from service.web.app import create_app

ROUND = "rd-hollow-road-2026-09-15-0805-l-teal"


@pytest.fixture
def board(client: TestClient, morning: Morning) -> TestClient:
    """A browser in which the key was given, at half past eight; nobody in Hollow Road has answered."""
    morning.play_to("08:20")
    assert client.post("/board/key", data={"key": BOARD_KEY}).status_code == 200
    return client


def fault(phone, morning: Morning) -> str:
    """Wren's cable, not helped by the first remedy; says the row of the board."""
    page = morning.round_path(ROUND, "l-teal")
    phone.press(page, "3:f:CABLE:left")
    phone.press(page, "3:still")
    with morning.store.reading() as tx:
        return chases.open_faults_of(tx, "s-110")[0]


def token(board: TestClient) -> str:
    """The mark of the board's forms."""
    found = re.search(r'name="token" value="([0-9a-f]+)"', board.get("/board").text)
    assert found
    return found[1]


def act(board: TestClient, do: str, actor: str = "a-vane", **more: str):
    """Press a button of the board as it stands, named by its first two parts."""
    shown = re.search(f'value="({re.escape(do)}:[^"]*)"', board.get("/board").text)
    value = shown[1] if shown else do
    return board.post("/board/act", data={"token": token(board), "actor": actor, "do": value, **more})


def recorded(morning: Morning, kind: str) -> list[JournalRow]:
    with morning.store.reading() as tx:
        return [r for r in tx.exec(select(JournalRow)) if r.kind == kind]


def test_without_the_key_the_board_shows_nothing_of_the_day(client, morning):
    morning.play_to("08:20")
    text = client.get("/board").text

    assert "Key" in text
    assert "Hollow Road" not in text
    assert client.get("/board/part").status_code == 401


def test_a_wrong_key_is_refused_and_many_are_slowed_down(client):
    assert client.post("/board/key", data={"key": "wrong"}).status_code == 403
    last = [client.post("/board/key", data={"key": f"wrong-{n}"}).status_code for n in range(11)]
    assert last[-1] == 429
    assert client.post("/board/key", data={"key": BOARD_KEY}).status_code == 429


def test_the_key_never_stands_in_an_address_or_a_cookie(client):
    answer = client.post("/board/key", data={"key": BOARD_KEY}, follow_redirects=False)
    cookie = answer.headers["set-cookie"]

    assert answer.headers["location"] == "/board"
    assert BOARD_KEY not in cookie
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie


def test_over_tls_the_cookie_is_held_to_this_host(morning):
    app = create_app(morning.desk, morning.options(base_url="https://testserver"))
    with TestClient(app, base_url="https://testserver") as client:
        answer = client.post("/board/key", data={"key": BOARD_KEY}, follow_redirects=False)
    assert answer.headers["set-cookie"].startswith("__Host-board=")
    assert "Secure" in answer.headers["set-cookie"]


def test_a_cookie_ends_after_a_long_school_day(board, morning):
    assert "Hollow Road" in board.get("/board").text
    morning.clock.move_to(morning.clock.now() + timedelta(hours=13))
    assert "Hollow Road" not in board.get("/board").text


def test_a_cookie_of_another_making_opens_nothing(client):
    client.cookies.set("board", "9999999999.word." + "0" * 64)
    assert "Hollow Road" not in client.get("/board").text


def test_another_key_ends_the_cookies_of_the_old_one(board, morning):
    with TestClient(create_app(morning.desk, morning.options(board_key="another key"))) as changed:
        changed.cookies = board.cookies
        assert "Hollow Road" not in changed.get("/board").text


def test_where_no_key_is_asked_the_board_is_open_and_its_forms_work(morning, phone):
    morning.play_to("08:20")
    row = fault(phone, morning)
    with TestClient(create_app(morning.desk, morning.options(board_key=None))) as client:
        assert "In hand" in act(client, f"mine:{row}").text


def test_one_sentence_says_the_district_and_is_the_title(board):
    text = board.get("/board").text
    sentence = "0 of 5 checks answered. Next: Hollow Road School, Room 7, front office at 08:25."

    assert f"<title>{sentence}</title>" in text
    assert f"<h1>{sentence}</h1>" in text


def test_open_things_come_first_and_quiet_schools_are_one_line(board):
    text = board.get("/board").text

    assert text.index("Hollow Road School</h2>") < text.index("<b>Peel Lane School</b>")
    assert "Next: Room B3 at 08:40." in text


def test_a_fault_shows_what_since_when_who_was_told_and_what_comes(board, morning, phone):
    fault(phone, morning)
    text = re.sub(r"\s+", " ", board.get("/board").text)

    assert "Today · Wren, left processor: transmitting cable loose, worn or cutting out, Room 12" in text
    assert (
        "Since 08:20, just now. The audiologist was told at 08:20. The coordinator is told at 08:40." in text
    )


def test_the_graver_fault_stands_above(board, morning, phone):
    fault(phone, morning)
    phone.press(morning.standing_path("d-fenn"), "s-103:f:COIL:left")
    morning.play_to("08:30")
    text = board.get("/board").text

    assert text.index("Urgent · Heron") < text.index("Today · Wren")


def test_the_board_names_the_adults_of_its_list_only(board, morning, phone):
    fault(phone, morning)
    text = board.get("/board").text

    assert "A. Vane" in text
    assert "Teal" not in text


def test_mine_takes_it_in_hand_and_is_recorded_as_said(board, morning, phone):
    row = fault(phone, morning)
    text = act(board, f"mine:{row}", minutes="45").text

    assert "In hand with the audiologist until 09:05." in text
    (reading,) = [r for r in recorded(morning, "reading") if r.body.get("says")]
    assert (reading.actor, reading.body["command"], reading.body["minutes"]) == ("a-vane", "mine", 45)


def test_the_one_who_acted_is_still_chosen_on_the_next_page(board, morning, phone):
    row = fault(phone, morning)
    assert '<option value="a-vane" selected>' in act(board, f"mine:{row}").text


def test_the_same_button_pressed_twice_is_one_press(board, morning, phone):
    row = fault(phone, morning)
    shown = re.search(f'value="(mine:{row}:[^"]*)"', board.get("/board").text)
    assert shown
    form = {"token": token(board), "actor": "a-vane", "do": shown[1]}
    board.post("/board/act", data=form)
    before = morning.entries()
    board.post("/board/act", data=form)

    assert morning.entries() == before


def test_working_from_who_is_with_the_child_closes_the_fault(board, morning, phone):
    row = fault(phone, morning)
    act(board, f"working:{row}")
    with morning.store.reading() as tx:
        assert chases.open_faults_of(tx, "s-110") == []


def test_working_from_afar_is_only_said_to_be(board, morning, phone):
    row = fault(phone, morning)
    assert "Said to be working" in act(board, f"working:{row}", "c-reed").text
    with morning.store.reading() as tx:
        assert chases.open_faults_of(tx, "s-110") == [row]


def test_a_loaner_ends_the_chase(board, morning, phone):
    row = fault(phone, morning)
    assert "A loaner is in use." in act(board, f"loaner:{row}").text


def test_mine_on_a_silent_round_takes_all_of_it(board, morning):
    act(board, f"mine:{ROUND}", "o-birch")
    with morning.store.reading() as tx:
        held = [c for c in chases.open_of_school(tx, "hollow-road") if c.round_id == ROUND]
    assert [c.phase for c in held] == ["in hand"] * 3


@pytest.mark.parametrize("actor", ["", "l-teal", "nobody"])
def test_who_acts_must_be_one_of_the_list(board, morning, phone, actor):
    row = fault(phone, morning)
    before = morning.entries()
    answer = act(board, f"mine:{row}", actor)

    assert answer.status_code == 422
    assert "Who are you?" in answer.text
    assert morning.entries() == before


@pytest.mark.parametrize("path", ["/board/act", "/board/notice", "/board/withdraw"])
def test_a_form_without_its_mark_is_refused(board, morning, path):
    before = morning.entries()
    form = {"actor": "c-reed", "do": "give", "line": "closed today at all", "id": "x", "token": "0" * 64}

    assert board.post(path, data=form).status_code == 403
    assert morning.entries() == before


@pytest.mark.parametrize("path", ["/board/act", "/board/notice", "/board/withdraw"])
def test_a_form_without_the_cookie_changes_nothing(client, morning, path):
    morning.play_to("08:20")
    before = morning.entries()
    client.post(path, data={"actor": "c-reed", "do": "give", "line": "closed today at all"})
    assert morning.entries() == before


@pytest.mark.parametrize(
    "header",
    [{"sec-fetch-site": "cross-site"}, {"origin": "https://elsewhere.example"}, {"origin": "http://["}],
)
def test_a_form_from_another_site_is_refused(board, header):
    form = {"token": token(board), "actor": "c-reed", "do": "give", "line": "closed today at all"}
    assert board.post("/board/notice", data=form, headers=header).status_code == 403


def test_a_notice_shows_whom_it_reaches_before_it_is_given(board, morning):
    form = {"token": token(board), "actor": "c-reed", "line": "closed today at peel-lane", "do": "look"}
    before = morning.entries()
    text = re.sub(r"\s+", " ", board.post("/board/notice", data=form).text)

    assert "for Peel Lane School. It reaches 1 check not yet asked and 0 checks already asked." in text
    assert morning.entries() == before


def test_a_notice_is_given_with_its_author_as_said_and_can_be_withdrawn(board, morning):
    form = {"token": token(board), "actor": "c-reed", "line": "closed today at peel-lane", "do": "give"}
    text = board.post("/board/notice", data=form).text
    assert "The notice is given." in text
    assert "No school: closed by notice." in text
    (author,) = recorded(morning, "author")
    assert (author.actor, author.body["says"]) == ("c-reed", True)

    with morning.store.reading() as tx:
        (row,) = tx.exec(select(NoticeRow))
    form = {"token": token(board), "actor": "c-reed", "id": row.id}
    assert "The notice is withdrawn." in board.post("/board/withdraw", data=form).text
    assert "withdrawn before" in board.post("/board/withdraw", data=form).text


def test_a_line_that_is_no_notice_is_answered_with_what_would_be_right(board, morning):
    form = {"token": token(board), "actor": "c-reed", "line": "snow <b>", "do": "give"}
    before = morning.entries()
    text = board.post("/board/notice", data=form).text

    assert "Not understood:" in text
    assert "snow &lt;b&gt;" in text
    assert morning.entries() == before


def test_the_part_that_changes_is_not_sent_again_while_nothing_has(board, morning):
    first = board.get("/board/part")
    again = board.get("/board/part", headers={"if-none-match": first.headers["etag"]})
    morning.play_to("08:26")
    later = board.get("/board/part", headers={"if-none-match": first.headers["etag"]})

    assert "<html" not in first.text
    assert (again.status_code, again.content) == (304, b"")
    assert later.status_code == 200
    assert later.headers["etag"] != first.headers["etag"]


def test_without_scripts_the_board_loads_itself_again(board):
    assert '<noscript><meta http-equiv="refresh"' in board.get("/board").text


def test_every_answer_carries_a_policy_without_inline_code(board, morning):
    for path in ("/board", "/nowhere", "/health", morning.round_path(ROUND, "l-teal")):
        headers = board.get(path).headers
        assert headers["content-security-policy"].startswith("default-src 'none'; style-src 'self'")
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["referrer-policy"] == "no-referrer"
        assert headers["cache-control"] == "no-store"
        assert headers["x-content-type-options"] == "nosniff"


def test_a_request_for_another_host_is_turned_away(client):
    answer = client.get("/board", headers={"host": "elsewhere.example"})
    assert answer.status_code == 421
    assert answer.headers["content-type"] == "application/problem+json"


@pytest.mark.parametrize("host", ["[::1]:8000", "[::1]", "LOCALHOST:8000", "localhost"])
def test_a_host_is_known_with_and_without_its_port(morning, host):
    app = create_app(morning.desk, morning.options(hosts=("localhost", "::1")))
    assert TestClient(app).get("/health", headers={"host": host}).status_code == 200


@pytest.mark.parametrize("host", ["", "[::1", "localhost.elsewhere.example", "x@localhost:y"])
def test_a_host_that_is_none_of_ours_is_turned_away(morning, host):
    app = create_app(morning.desk, morning.options(hosts=("localhost", "::1")))
    assert TestClient(app).get("/health", headers={"host": host}).status_code == 421


def test_a_form_that_is_far_too_large_is_refused(client):
    assert client.post("/board/key", data={"key": "x" * 100_000}).status_code == 413


def test_a_large_form_without_a_length_is_refused_too(client):
    def pieces():
        for _ in range(100):
            yield b"key=" + b"x" * 1000

    head = {"content-type": "application/x-www-form-urlencoded"}
    assert client.post("/board/key", content=pieces(), headers=head).status_code == 413


def test_when_something_of_ours_fails_the_page_says_so_without_details(morning, monkeypatch):
    def broken(*_):
        raise RuntimeError("a secret detail")

    monkeypatch.setattr("service.web.board.views.board", broken)
    app = create_app(morning.desk, morning.options(board_key=None))
    with TestClient(app, raise_server_exceptions=False) as client:
        answer = client.get("/board")
    assert answer.status_code == 500
    assert "secret detail" not in answer.text
    assert answer.headers["content-security-policy"].startswith("default-src 'none'")


def test_the_nurse_ends_an_emergency_on_the_board_by_saying_so_and_confirming(board, morning, phone):
    phone.press(morning.round_path(ROUND, "l-teal"), "3:alarm")
    with morning.store.reading() as tx:
        (row,) = chases.open_alarms(tx)
    text = act(board, f"found:{row}", "n-sorrel").text
    assert "Please confirm it once" in text
    assert "Is that so?" in text

    assert "The emergency is over." in act(board, f"yes:{row}", "n-sorrel").text
    with morning.store.reading() as tx:
        assert chases.open_alarms(tx) == []


def test_an_emergency_cannot_be_taken_in_hand(board, morning, phone):
    phone.press(morning.round_path(ROUND, "l-teal"), "3:alarm")
    with morning.store.reading() as tx:
        (row,) = chases.open_alarms(tx)

    assert f"mine:{row}" not in board.get("/board").text
    assert "1 emergency." in board.get("/board").text
    assert "There was nothing to change." in act(board, f"mine:{row}").text


def test_a_held_service_says_so_on_top_of_the_board(board, morning):
    morning.play_to("08:06")
    assert "bellcheck release" not in board.get("/board").text
    with morning.desk.moment() as m:
        held.hold(m, "restored from a backup", "c-reed")

    for page in ("/board", "/board/part"):
        assert "restored from a backup" in board.get(page).text
