"""The coordinator sees on the board what was asked back, and what nobody could read."""

from web_district import BOARD_KEY

from service.engine import commands
from service.engine.commands import Received


def test_words_asked_back_and_words_of_strangers_are_on_the_board(client, morning):
    morning.play_to("08:06")
    commands.receive(morning.desk, Received("chat", "w1", "", "ok <i>ish</i>", "l-teal", proven=True))
    commands.receive(morning.desk, Received("chat", "w2", "nobody@example", "who is this"))
    commands.receive(morning.desk, Received("chat", "w3", "", "all ok", "j-aske", proven=True))
    morning.step()

    client.post("/board/key", data={"key": BOARD_KEY})
    board = client.get("/board").text

    assert "L. Teal: “ok &lt;i&gt;ish&lt;/i&gt;” – asked back" in board
    assert "somebody we do not know: “who is this” – put aside" in board
    assert "all ok" not in board
