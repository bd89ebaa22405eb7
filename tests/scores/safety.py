"""A safety notice to a thousand owners (goal R17), with real processes and a real mail server.

`python -m tests.scores safety [--quick] [--redis] [--postgres]`: a bulletin with a hazard is released while the background
work runs (the ticker; with --redis Celery's worker and beat). Of its owners 30 % said stop, 20 % sleep, 5 % have an address
that is refused at the door or whose letters come back later, 1 % have none. --quick: a hundred owners.
"""

import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from aiosmtpd.controller import Controller

from tests.mail_server import free_port
from tests.processes import HERE, Workshop, drop_database, migrated_database
from tests.scores.fault_broker import Broker
from tests.scores.goals import Goals

WITHIN = 60.0  # seconds until every owner was written to
PATIENCE = 300.0

RELEASE = """
import json, sys, time
from datetime import datetime, timedelta, timezone as tz
from django.utils import timezone
from tests.bulletins.conftest import danger, on_a_trike
from tests.factories import OwnerFactory, PartTypeFactory, UserFactory
from tracker.actions.bulletins import release_bulletin, write_bulletin
from tracker.actions.refusals import SameSigner
from tracker.models import Bulletin
now = timezone.now()
asleep = (2 - now.hour + 12) % 24 - 12  # hours ahead of UTC where it is two at night
zone = f"Etc/GMT{-asleep:+d}" if asleep else "UTC"
shock, writer, second = PartTypeFactory(kind="air_shock", part_number="LF-SHOCK"), UserFactory(), UserFactory()
for n in range(int(sys.argv[1])):
    name = "none" if n % 100 == 3 else ("refused", "returned")[n // 20 % 2] if n % 20 == 7 else "rider"
    on_a_trike(shock, f"S{n}", batch="K-17", owner=OwnerFactory(
        email="" if name == "none" else f"{name}-{n}@example.org", time_zone=zone if n % 5 == 0 else "Europe/London",
        stopped_at=now if n % 10 in (1, 4, 8) else None, reminders_agreed=n % 10 not in (1, 4, 8),
    ))
row = write_bulletin(values=danger(shock), by=writer, now=now)
alone = 0
try:
    release_bulletin(bulletin_id=row.pk, version=row.version, by=writer, now=timezone.now())
    alone = 1
except SameSigner:
    pass
begun = time.time()
release_bulletin(bulletin_id=row.pk, version=row.version, by=second, now=timezone.now())
print(json.dumps({"begun": begun, "release": time.time() - begun, "alone": alone}))
"""

# When all is marked, what came back is noted as the bounce mailbox would; then the desk's list of those to be rung.
BOOKS = """
import json, time
from django.utils import timezone
from services.bounces import Kind, Returned
from tracker.actions.bounces import note_bounce
from tracker.models import *
from tracker.queries.bulletins import calling_list
begun = time.monotonic()
while OutboxMessage.objects.filter(state__in=["waiting", "sending"]).exists() and time.monotonic() - begun < 60:
    time.sleep(0.2)
for message in OutboxMessage.objects.filter(owner__email__startswith="returned"):
    note_bounce(returned=Returned(kind=Kind.HARD, status="5.1.1", note="no such user", addresses=(),
                message_ids=(message.message_id,)), report=f"r{message.pk}", now=timezone.now())
told = Owner.objects.filter(messages__kind="safety", messages__state="sent", messages__bounced_at=None)
print(json.dumps({
    "to_ring": sorted(notice.owner.email for notice in calling_list(Bulletin.objects.get().pk)),
    "unreached": sorted(Owner.objects.exclude(email__startswith="rider").values_list("email", flat=True)),
    "stopped": Owner.objects.exclude(stopped_at=None).filter(email__startswith="rider").count(),
    "stopped_told": told.exclude(stopped_at=None).count(),
    "asleep": Owner.objects.exclude(time_zone="Europe/London").filter(email__startswith="rider").count(),
    "asleep_told": told.exclude(time_zone="Europe/London").count(),
    "open": OutboxMessage.objects.filter(state__in=["waiting", "sending"]).count(),
}))
"""


class Door:
    """A mail server that knows no address beginning with 'refused', and notes who was written to when."""

    def __init__(self) -> None:
        self.asked: dict[str, float] = {}
        self.took: Counter[str] = Counter()
        self.port = free_port()
        self.controller = Controller(self, hostname="127.0.0.1", port=self.port)
        self.controller.start()

    async def handle_RCPT(self, server, session, envelope, address, options) -> str:
        """Take note of the attempt."""
        self.asked.setdefault(address, time.time())
        if address.startswith("refused"):
            return "550 5.1.1 no such user"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope) -> str:
        """Take the letter."""
        self.took[envelope.rcpt_tos[0]] += 1
        return "250 OK"


@dataclass(frozen=True)
class Figures:
    """What came of it. seconds: from the release until the last owner was written to;

    worked: processor time of the ticker until then, its start included (0 with Celery, whose children nobody adds up).
    """

    owners: int
    with_address: int
    attempted: int
    seconds: float
    release: float
    repeats: int
    alone: int
    worked: float
    books: dict

    @property
    def unlisted(self) -> int:
        """Owners mail did not reach who are not on the desk's list of those to be rung, and listed ones who were reached."""
        found = Counter(self.books["to_ring"])
        found.subtract(Counter(self.books["unreached"]))
        return sum(abs(count) for count in found.values())


def released_to(owners: int, folder: Path, *, redis: bool = False) -> Figures:
    """Release a hazard to so many owners while the background work runs; return what came of it."""
    url, database = migrated_database(folder)
    door, broker = Door(), Broker(folder)
    workshop = Workshop(
        folder, DATABASE_URL=url, SMTP_HOST="127.0.0.1", SMTP_PORT=str(door.port), SMTP_TLS="false", SMTP_USER="",
        REDIS_URL=broker.url if redis else "", LOG_LEVEL="CRITICAL",
    )  # fmt: skip
    running: list[subprocess.Popen] = []
    try:
        if redis:
            broker.start()
        running += [_started(workshop, command) for command in _background(workshop, redis)]
        _wait_until_up(workshop, redis)
        said = workshop.told(RELEASE, str(owners), timeout=PATIENCE)
        with_address = owners - len(range(3, owners, 100))
        end = time.monotonic() + PATIENCE
        while len(door.asked) < with_address and time.monotonic() < end:
            time.sleep(0.1)
        worked = 0.0 if redis else _processor_seconds(running[0].pid)
        books = workshop.told(BOOKS, timeout=PATIENCE)
    finally:
        for process in running:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
        door.controller.stop()
        broker.stop()
        drop_database(database)
    return Figures(
        owners, with_address, len(door.asked), max(door.asked.values(), default=0.0) - said["begun"], said["release"],
        sum(count - 1 for count in door.took.values()), said["alone"],
        worked, books,
    )  # fmt: skip


def _processor_seconds(pid: int) -> float:
    """What a process has worked so far, all its threads together (proc(5): utime and stime)."""
    told = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")


def _background(workshop: Workshop, redis: bool) -> list[list[str]]:
    if not redis:
        return [["manage.py", "ticker"]]
    celery = ["-m", "celery", "-A", "tracker"]
    return [
        [*celery, "worker", "--concurrency", "2", "--loglevel", "critical", "--without-mingle"],
        [*celery, "beat", "--loglevel", "critical", "--pidfile", "", "--schedule", str(workshop.folder / "beat")],
    ]


def _started(workshop: Workshop, command: list[str]) -> subprocess.Popen:
    return subprocess.Popen(
        [sys.executable, *command], cwd=workshop.root, env=workshop.environment, start_new_session=True,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip


def _wait_until_up(workshop: Workshop, redis: bool) -> None:
    """Wait for the first round of mail, on an empty workshop."""
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        if _has_begun_on_redis(workshop) if redis else _has_begun(workshop.folder / "ticker.json"):
            return
        time.sleep(0.2)
    raise AssertionError("the background work did not start")


def _has_begun(memory: Path) -> bool:
    """Whether the ticker's memory says that it sent mail."""
    return memory.exists() and not json.loads(memory.read_text())["dispatch-outbox"].startswith("2000")


def _has_begun_on_redis(workshop: Workshop) -> bool:
    seen = "from tracker.models import Heartbeat\nprint(Heartbeat.objects.filter(name='dispatcher').exists())"
    return workshop.run(*workshop.script(seen)).strip() == "True"


def main(options: list[str]) -> int:
    """1,000 owners; --quick: 100."""
    if "--postgres" in options:
        os.environ.setdefault("DATABASE_URL", HERE)
    with tempfile.TemporaryDirectory(prefix="safety-") as name:
        found = released_to(100 if "--quick" in options else 1_000, Path(name), redis="--redis" in options)
    where = "PostgreSQL" if os.environ.get("DATABASE_URL", "").startswith("postgres") else "SQLite"
    goals = Goals(f"safety: {found.owners} owners, {where}, {'Celery' if '--redis' in options else 'ticker'}")
    goals.say(f"the release itself {found.release:.1f} s; {len(found.books['unreached'])} owners mail cannot reach; "
              f"the ticker worked {found.worked:.1f} s")  # fmt: skip
    goals.at_least("owners with an address who were written to, share", found.attempted / found.with_address, 1.0, 3)
    goals.at_most("seconds from the release to the last of them", found.seconds, WITHIN)
    goals.at_most("letters repeated", found.repeats, 0, 0)
    goals.at_most("released by the one who wrote it", found.alone, 0, 0)
    goals.at_most("on the list to be rung: missing, or there by mistake", found.unlisted, 0, 0)
    for who in ("stopped", "asleep"):
        goals.at_most(f"{who} and not told", found.books[who] - found.books[f"{who}_told"], 0, 0)
    return goals.ended()
