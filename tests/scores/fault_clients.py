"""What stands outside in a fault run and is not killed: clients of the API, and the mail server."""

import asyncio
import http.client
import json
import random
import threading
import time
from datetime import UTC, datetime
from email import message_from_bytes
from uuid import uuid4

from aiosmtpd.controller import Controller

from tests.mail_server import free_port

MOST_OPEN = 5  # a client that gets no answers does not begin more and more
Event = tuple[int, float]  # trike, what its display showed


class Client(threading.Thread):
    """Records one reading per trike. What was not answered is sent again under the same Idempotency-Key."""

    def __init__(self, port: int, key: str, trikes: list[int]) -> None:
        super().__init__(daemon=True)
        self.port, self.key, self.trikes = port, key, trikes
        self.answered: list[Event] = []
        self.open: dict[str, tuple[Event, bytes]] = {}
        self.tries = self.broken = 0
        self.refused: list[str] = []
        self.last: float | None = None  # when to give up on what is open

    def run(self) -> None:
        """Write until told to stop, then only repeat what is open."""
        trikes = iter(self.trikes)
        while self.last is None or (self.open and time.monotonic() < self.last):
            trike = next(trikes, None) if self.last is None and len(self.open) < MOST_OPEN else None
            if trike is not None:
                self._new(trike)
            for key in list(self.open):
                self._try(key)
            time.sleep(0.2 if trike is not None else 0.5)

    def stop(self, seconds: float) -> None:
        """Begin nothing new, and give up on what is open after `seconds`."""
        self.last = time.monotonic() + seconds
        self.join(timeout=seconds + 30)

    def unanswered(self) -> list[Event]:
        """What nobody answered."""
        return [event for event, _ in self.open.values()]

    def _new(self, trike: int) -> None:
        event = (trike, 1000.0 + trike % 500)
        told = {"trike": trike, "value": event[1], "read_at": datetime.now(UTC).isoformat()}
        self.open[str(uuid4())] = (event, json.dumps(told).encode())

    def _try(self, key: str) -> None:
        event, body = self.open[key]
        self.tries += 1
        headers = {"Content-Type": "application/json", "Authorization": f"Api-Key {self.key}", "Idempotency-Key": key}
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=70)
        try:
            line.request("POST", "/api/v1/readings", body, headers)
            status = line.getresponse().status
        except (OSError, http.client.HTTPException):
            return
        finally:
            line.close()
        self.broken += status >= 500
        if status == 201:
            self.answered.append(event)
            del self.open[key]


class Sink:
    """A mail server that takes everything, slowly enough to be caught in the middle."""

    def __init__(self, seed: int) -> None:
        self.took: list[str] = []
        self.took_at: list[float] = []
        self.slow = True
        self.rng = random.Random(seed)
        self.port = free_port()
        self.controller = Controller(self, hostname="127.0.0.1", port=self.port)
        self.controller.start()

    async def handle_DATA(self, server, session, envelope) -> str:
        """Take a letter between two short waits."""
        if self.slow:
            await asyncio.sleep(self.rng.uniform(0.0, 0.2))
        self.took.append(message_from_bytes(envelope.content)["Message-ID"])
        self.took_at.append(time.monotonic())
        if self.slow:
            await asyncio.sleep(self.rng.uniform(0.0, 0.1))
        return "250 OK"

    def stop(self) -> None:
        """Hang up."""
        self.controller.stop()
