"""Told to stop, an instance stops within ten seconds, whatever is under way; the next one goes on where it stood."""

import socket
import time

import pytest

from tests.engine.engine_morning import at
from tests.faults.judging import judged, wrongs
from tests.faults.morning import STOP_SECONDS, world


@pytest.mark.slow
def test_a_stop_in_the_midst_of_hanging_receivers_and_slow_senders_takes_less_than_ten_seconds() -> None:
    with world("sqlite") as made:
        made.outside.hang = 30.0
        made.clock.run()
        while len(made.outside.arrivals) < 3:
            time.sleep(0.02)
        handle = made.handles[0]
        with socket.create_connection(("127.0.0.1", handle.orders.port)) as slow:
            slow.sendall(b"POST /in/chat HTTP/1.1\r\nHost: localhost\r\nContent-Length: 5000\r\n\r\n{")
            took, code = handle.stop()
        assert code == 0
        assert took < STOP_SECONDS
        made.outside.hang = 0.0
        made.clock.stand()
        handle.start()
        handle.wait_ready()
        assert made.clock.now() < at("08:10")
        made.end()
        assert wrongs(judged(made)) == []
