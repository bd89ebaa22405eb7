"""A Redis of our own for a fault run: flushed, away, absent from the start (goal R4 of the design)."""

import shutil
import subprocess
import time
from contextlib import suppress
from pathlib import Path

import redis

from tests.mail_server import free_port


class Broker:
    """A Redis server on a port of its own, with nothing kept on disk."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port = folder, free_port()
        self.process: subprocess.Popen | None = None

    @property
    def url(self) -> str:
        """Where it is, or would be."""
        return f"redis://127.0.0.1:{self.port}/0"

    def start(self) -> None:
        """Start it and wait until it answers."""
        program = shutil.which("redis-server")
        assert program, "redis-server is not installed"
        self.process = subprocess.Popen(
            [program, "--bind", "127.0.0.1", "--port", str(self.port), "--save", "", "--appendonly", "no"],
            cwd=self.folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        end = time.monotonic() + 20
        while time.monotonic() < end:
            with suppress(redis.RedisError):
                if redis.Redis(port=self.port).ping():
                    return
            time.sleep(0.05)
        raise AssertionError("Redis did not start")

    def is_listened_to(self) -> bool:
        """Whether a worker waits for work."""
        with suppress(redis.RedisError):
            return any(client["cmd"] == "brpop" for client in redis.Redis(port=self.port).client_list())
        return False

    def flush(self) -> None:
        """Forget everything: what waits in the queues, what was not acknowledged, every counter."""
        redis.Redis(port=self.port).flushall()

    def stop(self) -> None:
        """Kill it."""
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            self.process = None
