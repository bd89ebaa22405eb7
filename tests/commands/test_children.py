import http.server
import os
import signal
import socket
import sys
import time
from pathlib import Path

import pytest

from tests.servers import serving
from tracker.management.children import Children, Stopped, answers, port_is_free, raise_on_signals

DEAF = """
import pathlib, signal, sys, time
signal.signal(signal.SIGTERM, signal.SIG_IGN)
pathlib.Path(sys.argv[1]).touch()
time.sleep(60)
"""


@pytest.fixture
def children(tmp_path):
    children = Children(tmp_path, os.environ)
    yield children
    children.stop()


def test_children_end_when_they_are_asked(children):
    for name in ("one", "two"):
        children.start(name, ["-c", "import time; time.sleep(60)"])
    assert children.ended() == ""
    children.stop()
    assert [child.returncode for child in children.running.values()] == [-signal.SIGTERM] * 2


def test_a_child_that_does_not_listen_is_made_to_end(children, monkeypatch, tmp_path):
    monkeypatch.setattr("tracker.management.children.PATIENCE", 0.2)
    ready = tmp_path / "ready"
    children.start("deaf", ["-c", DEAF, str(ready)])
    _wait_for(ready)
    children.stop()
    assert children.running["deaf"].returncode == -signal.SIGKILL


def _wait_for(path: Path) -> None:
    end = time.monotonic() + 20
    while not path.exists():
        assert time.monotonic() < end
        time.sleep(0.02)


def test_a_child_that_ended_by_itself_is_named(children):
    children.start("short", ["-c", "pass"])
    children.running["short"].wait(timeout=20)
    assert children.ended() == "short"


def test_a_taken_port_is_told_from_a_free_one():
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        door.listen()
        port = door.getsockname()[1]
        assert not port_is_free(port)
    assert port_is_free(port)


class Handler(http.server.BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        self.send_response(200 if self.path == "/healthz" else 404)
        self.end_headers()

    def log_message(self, *args) -> None:
        """Quiet."""


def test_a_server_answers_or_does_not():
    with serving(http.server.HTTPServer(("127.0.0.1", 0), Handler)) as server:
        address = f"http://127.0.0.1:{server.server_port}"
        heard = answers(f"{address}/healthz"), answers(f"{address}/else")
    assert heard == (True, False)
    assert not answers(f"{address}/healthz")


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_ctrl_c_and_sigterm_end_the_same_way(number):
    before = signal.getsignal(signal.SIGINT), signal.getsignal(signal.SIGTERM)
    try:
        raise_on_signals()
        with pytest.raises(Stopped):
            signal.raise_signal(number)
        assert signal.getsignal(number) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGINT, before[0])
        signal.signal(signal.SIGTERM, before[1])
    assert sys.exc_info() == (None, None, None)
