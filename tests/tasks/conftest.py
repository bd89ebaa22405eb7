"""A real broker on this machine, and workers that take from it."""

import shutil
import socket
import subprocess
import time

import pytest
import redis


def free_port() -> int:
    """Return a port nobody listens on."""
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        return door.getsockname()[1]


@pytest.fixture(scope="session")
def redis_url(tmp_path_factory):
    """A Redis server of our own, gone after the tests."""
    port = free_port()
    server = subprocess.Popen(
        [
            shutil.which("redis-server"),
            "--port",
            str(port),
            "--save",
            "",
            "--dir",
            str(tmp_path_factory.mktemp("redis")),
        ],
        stdout=subprocess.DEVNULL,
    )
    url = f"redis://127.0.0.1:{port}/0"
    with redis.Redis.from_url(url) as client:
        _wait_for(client)
    yield url
    server.terminate()
    server.wait(timeout=10)


def _wait_for(client: redis.Redis) -> None:
    end = time.monotonic() + 10
    while True:
        try:
            client.ping()
        except redis.ConnectionError:
            if time.monotonic() > end:
                raise
            time.sleep(0.05)
        else:
            return
