"""Brokers and tasks without a worker."""

import socketserver

import pytest
from celery import current_app

from tests.servers import serving


@pytest.fixture(autouse=True)
def here_and_now(monkeypatch):
    """Tasks run where they are called, also where the settings name a broker."""
    monkeypatch.setattr(current_app.conf, "task_always_eager", True)


class Broker(socketserver.StreamRequestHandler):
    """Just enough of a Redis server to be asked whether it is there (RESP3)."""

    ANSWERS = {b"HELLO": b"%1\r\n+proto\r\n:3\r\n", b"PING": b"+PONG\r\n"}

    def handle(self) -> None:
        while head := self.rfile.readline():
            words = []
            for _ in range(int(head[1:])):
                length = int(self.rfile.readline()[1:])
                words.append(self.rfile.read(length + 2)[:-2])
            self.wfile.write(self.ANSWERS.get(words[0].upper(), b"+OK\r\n"))


@pytest.fixture
def redis_url():
    """The address of a broker that answers."""
    with serving(socketserver.ThreadingTCPServer(("127.0.0.1", 0), Broker)) as server:
        yield f"redis://127.0.0.1:{server.server_address[1]}/0"
