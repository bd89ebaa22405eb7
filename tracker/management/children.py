"""Two children in one process tree: the web server and the ticker. They end together."""

import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Mapping, Sequence
from pathlib import Path

PATIENCE = 15.0  # seconds a child gets to end by itself
HOST = "127.0.0.1"


class Stopped(Exception):
    """Somebody pressed Ctrl-C or sent SIGTERM."""


class Children:
    """Starts processes, watches them, stops them all."""

    def __init__(self, folder: Path, environment: Mapping[str, str]) -> None:
        self.folder = folder
        self.environment = dict(environment)
        self.running: dict[str, subprocess.Popen] = {}

    def start(self, name: str, command: Sequence[str]) -> None:
        """Start a child in a session of its own: Ctrl-C then reaches the parent only, which stops them in order."""
        self.running[name] = subprocess.Popen(
            [sys.executable, *command], cwd=self.folder, env=self.environment, start_new_session=True
        )

    def ended(self) -> str:
        """Return the name of a child that ended by itself, or an empty text."""
        return next((name for name, child in self.running.items() if child.poll() is not None), "")

    def stop(self) -> None:
        """Ask all to end; after PATIENCE, make them."""
        for child in self.running.values():
            if child.poll() is None:
                child.send_signal(signal.SIGTERM)
        end = time.monotonic() + PATIENCE
        for child in self.running.values():
            try:
                child.wait(timeout=max(end - time.monotonic(), 0.1))
            except subprocess.TimeoutExpired:
                child.kill()
                child.wait()


def port_is_free(port: int) -> bool:
    """Whether the web server could listen on `port`."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as door:
        door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            door.bind((HOST, port))
        except OSError:
            return False
    return True


def answers(address: str) -> bool:
    """Whether a web server answers there with 200."""
    try:
        with urllib.request.urlopen(address, timeout=2) as response:
            return response.status == 200
    except (urllib.error.URLError, OSError):
        return False


def raise_on_signals() -> None:
    """Turn SIGINT and SIGTERM into Stopped, so that one `finally` cleans up after both."""

    def stop(number: int, frame: object) -> None:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # a second one must not break the stopping
        signal.signal(signal.SIGTERM, signal.SIG_IGN)
        raise Stopped

    signal.signal(signal.SIGINT, stop)
    signal.signal(signal.SIGTERM, stop)
