"""Starting and stopping the demo as a process: nothing is left behind."""

import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from service.demo import CANNOT, try_out
from service.demo.stage import CannotTry, read_stage

ROOT = Path(__file__).parents[2]
COMMAND = (
    "import sys; from service.demo import try_out; "
    "sys.exit(try_out(headless='-h' in sys.argv, port=int(sys.argv[1]) or None, "
    "say=lambda line: print(line, flush=True), wrong=lambda line: print(line, file=sys.stderr)))"
)


def start(temp, port=0, *more):
    return subprocess.Popen(
        [sys.executable, "-c", COMMAND, str(port), *more],
        cwd=ROOT,
        env={**os.environ, "TMPDIR": str(temp), "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_the_demo_says_where_it_is_and_stops_within_seconds_leaving_nothing(tmp_path, number):
    demo = start(tmp_path)
    assert "/try" in demo.stdout.readline()
    assert list(tmp_path.iterdir()), "the database lies in a temporary folder"

    began = time.monotonic()
    demo.send_signal(number)
    out, err = demo.communicate(timeout=10)

    assert time.monotonic() - began < 6
    assert demo.returncode == 0
    assert "removed" in out
    assert err == ""
    assert list(tmp_path.iterdir()) == []


def test_a_headless_day_that_is_stopped_has_proved_nothing(tmp_path):
    demo = start(tmp_path, 0, "-h")
    deadline = time.monotonic() + 20
    while not list(tmp_path.glob("*/bellcheck.db")) and time.monotonic() < deadline:
        time.sleep(0.05)
    time.sleep(1)
    demo.send_signal(signal.SIGINT)
    _, err = demo.communicate(timeout=15)

    assert demo.returncode == 2
    assert "stopped before its day was over" in err
    assert list(tmp_path.iterdir()) == []


def test_a_port_that_was_asked_for_and_is_taken_is_said_plainly(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        taken_port = taken.getsockname()[1]
        demo = start(tmp_path, taken_port)
        _, err = demo.communicate(timeout=20)

    assert demo.returncode == 2
    assert f"Port {taken_port} cannot be used here" in err
    assert "Traceback" not in err


@pytest.mark.parametrize("speed", [0, -60, 1e9, float("nan")])
def test_a_speed_that_no_clock_runs_at_is_said_plainly(speed):
    wrong = []

    assert try_out(speed=speed, say=wrong.append, wrong=wrong.append) == CANNOT
    assert "between 10 and 120" in wrong[0]


def test_a_missing_demo_folder_is_said_plainly(tmp_path):
    with pytest.raises(CannotTry, match="whole checkout"):
        read_stage(tmp_path / "nowhere")
