"""A server on this machine, in a thread of the test."""

import socketserver
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


@contextmanager
def serving(server: socketserver.BaseServer) -> Iterator[Any]:
    """Let `server` answer until the test is done with it, then close its door."""
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield server
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
