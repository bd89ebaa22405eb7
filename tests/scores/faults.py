"""Fault runs: real processes killed at random while clients write and letters go out (goals R1, R2, R4 of the design).

`python -m tests.scores faults [--quick] [--redis] [--broker] [--postgres]`: a workshop of its own, dropped at the end, on
SQLite or on the server of DATABASE_URL (--postgres: the one on this machine that .ci/run uses); a real mail server; web
server, dispatcher, sweeping worker and ticker (with --redis: Celery's worker and beat), of which one is killed (SIGKILL)
again and again, seeded, and started anew. With --broker nothing is killed but Redis: it is absent at first, flushed ten
times, away for a minute; clients must not notice, and all is caught up within a minute. Then the books are compared: what
clients were told, what the record holds, what the mail server took.
"""

import json
import os
import random
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.processes import HERE, Workshop, drop_database, fresh_database
from tests.scores.fault_broker import Broker
from tests.scores.fault_clients import Client, Sink
from tests.scores.fault_roles import BEHIND, BOOKS, FILL, RECOVER, Roles, feeder
from tests.scores.goals import Goals

SEED = 20261126
CLIENTS = 4
WEIGHTS = {"dispatcher": 5, "web": 2, "worker": 3, "beat": 2, "bell": 1}  # most kills where a crash costs most
UP_WITHIN = 60.0  # seconds a process gets to start on a busy machine
LAST_ANSWERS = 180.0  # seconds: a request cut in the middle is free again after two minutes


def main(options: list[str]) -> int:
    """200 kills; --quick: 20."""
    kills = 20 if "--quick" in options else 200
    if "--postgres" in options and not os.environ.get("DATABASE_URL", "").startswith("postgres"):
        os.environ["DATABASE_URL"] = HERE
    with tempfile.TemporaryDirectory(prefix="faults-") as name:
        folder = Path(name)
        url, database = fresh_database(folder)
        try:
            run = BrokerRun if "--broker" in options else Run
            return run(folder, url, kills, bool({"--redis", "--broker"} & set(options)), "--quick" in options).go()
        finally:
            drop_database(database)


class Run:
    """One run, from an empty database to the compared books."""

    def __init__(self, folder: Path, url: str, kills: int, redis: bool, quick: bool) -> None:
        self.kills, self.quick, self.redis = kills, quick, redis
        self.sink = Sink(SEED)
        self.broker = Broker(folder)
        environment = {
            "DATABASE_URL": url, "QUIET_FROM_HOUR": "24", "QUIET_UNTIL_HOUR": "0", "CLOSED_WEEKDAYS": "", "DEBUG": "0",
            "SMTP_HOST": "127.0.0.1", "SMTP_PORT": str(self.sink.port), "SMTP_TLS": "false", "SMTP_USER": "",
            "REDIS_URL": self.broker.url if redis else "",
            "LOG_LEVEL": "CRITICAL", "FAULTS_FOLDER": str(folder),
        }  # fmt: skip
        self.workshop = Workshop(folder, **environment)
        self.roles = Roles(self.workshop, self.broker if redis else None)
        self.killed: Counter[str] = Counter()

    def go(self) -> int:
        """Fill, run, kill, recover, compare."""
        begun = time.monotonic()
        clients = self._prepare()
        try:
            self._disturb()
            for client in clients:
                client.stop(5.0 if self.quick else LAST_ANSWERS)
        finally:
            self.roles.stop()
            for client in clients:
                client.stop(0.0)
        self._recover()
        self.workshop.run("manage.py", "verify_logbook")
        books = json.loads(self.workshop.run(*self.workshop.script(BOOKS)))
        self.sink.stop()
        self.broker.stop()
        return self._compare(books, clients, time.monotonic() - begun)

    def _recover(self) -> None:
        self.sink.slow = False
        for step in range(3):  # what a lease or a wait holds back is free an hour later
            self.workshop.run(*self.workshop.script(RECOVER.format(hours=1 + step)), timeout=1800)

    def _prepare(self) -> list[Client]:
        run = self.workshop.run
        run("manage.py", "migrate", "--verbosity", "0")
        trikes = 40 * CLIENTS if self.quick else 200 * CLIENTS
        ids = json.loads(run(*self.workshop.script(FILL.format(trikes=trikes))).splitlines()[-1])
        keys = [
            run("manage.py", "create_api_key", f"client {n}", "--scope", "readings:write").split()[-1]
            for n in range(CLIENTS)
        ]
        if self.redis:
            self._first_broker()
        self.roles.start_all(feeder(200 if self.quick else 1500))
        self.roles.wait_until_up(UP_WITHIN)
        clients = [Client(self.roles.port, key, ids[n::CLIENTS]) for n, key in enumerate(keys)]
        for client in clients:
            client.start()
        return clients

    def _first_broker(self) -> None:
        self.broker.start()

    def _disturb(self) -> None:
        rng = random.Random(SEED)
        while self.killed.total() < self.kills:
            time.sleep(rng.uniform(0.02, 0.4))
            up = [name for name in self.roles.names if self.roles.is_up(name)]
            if not up:
                continue
            victim = rng.choices(up, [WEIGHTS[name] for name in up])[0]
            self.roles.kill_and_start(victim)
            self.killed[victim] += 1

    def _compare(self, books: dict, clients: list[Client], seconds: float) -> int:
        goals = Goals(f"faults: {self.kills} kills in {seconds:.0f} s: {dict(sorted(self.killed.items()))}")
        self._record(goals, books, clients)
        self._mail(goals, books)
        return goals.ended()

    def _record(self, goals: Goals, books: dict, clients: list[Client]) -> None:
        answered = [event for client in clients for event in client.answered]
        open_ones = [event for client in clients for event in client.unanswered()]
        held = Counter(tuple(row) for row in books["readings"])
        goals.say(
            f"events answered {len(answered)}, never answered {len(open_ones)}, tries {sum(c.tries for c in clients)}"
        )
        goals.at_least("events answered", len(answered), 20 if self.quick else 200, 0)
        goals.at_most("record: answered events lost", sum(held[event] == 0 for event in answered), 0, 0)
        goals.at_most("record: events with more than one effect", sum(n > 1 for n in held.values()), 0, 0)
        goals.at_most(
            "record: readings and their logbook entries differ", abs(len(books["readings"]) - books["entries"]), 0, 0
        )
        goals.at_most("web: answers 5xx", sum(client.broken for client in clients), 0, 0)
        if not self.quick:
            goals.at_most("events never answered", len(open_ones), 0, 0)

    def _mail(self, goals: Goals, books: dict) -> None:
        took = Counter(self.sink.took)
        routine = {row["message_id"]: row["state"] for row in books["messages"] if row["kind"] != "safety"}
        safety = [row["message_id"] for row in books["messages"] if row["kind"] == "safety"]
        listed = set(books["listed"])
        known = {name for name, state in routine.items() if state == "sent"}
        unknown = [name for name, state in routine.items() if state == "unknown"]
        goals.say(
            f"routine letters {len(routine)}, of them unknown {len(unknown)} ({sum(took[n] for n in unknown)} had gone out)"
        )
        goals.say(
            f"safety notices {len(safety)}, sent twice or more under one Message-ID {sum(took[n] > 1 for n in safety)}"
        )
        goals.at_least("routine letters", len(routine), 20 if self.quick else 200, 0)
        goals.at_most("trikes with work due and no reminder", books["unreminded"], 0, 0)
        goals.at_most("trikes with two reminders of a stage or two visits", books["doubled"], 0, 0)
        goals.at_most("routine letters taken twice by the mail server", sum(took[name] > 1 for name in routine), 0, 0)
        goals.at_most(
            "routine letters marked sent that the server never took", sum(took[name] == 0 for name in known), 0, 0
        )
        goals.at_most("routine letters neither sent nor on the desk's list", len(set(routine) - known - listed), 0, 0)
        goals.at_most("safety notices lost", sum(took[name] == 0 for name in safety), 0, 0)
        repeats = sum(took[name] - 1 for name in safety if took[name])
        goals.at_most("safety notices repeated (at most one a kill)", repeats, self.killed.total(), 0)
        goals.at_most("letters nobody wrote", len(set(took) - set(routine) - set(safety)), 0, 0)


class BrokerRun(Run):
    """Nothing is killed but the broker."""

    back = 0.0  # when it came back for good
    caught_up = 0.0  # seconds after that
    behind = 0

    def _first_broker(self) -> None:
        """There is none at first."""

    def _disturb(self) -> None:
        time.sleep(10 if self.quick else 30)
        self.broker.start()
        for _ in range(10):
            time.sleep(1.0)
            self.broker.flush()
        self.broker.stop()
        time.sleep(15 if self.quick else 60)
        self.broker.start()
        self.back = time.monotonic()
        self.roles.stop_feeder()
        self.behind = self._behind()
        while self._behind() and time.monotonic() - self.back < 180:
            time.sleep(1.0)
        self.caught_up = time.monotonic() - self.back

    def _behind(self) -> int:
        """How many messages have not gone out, and readings brought no reminder yet."""
        return int(self.workshop.run(*self.workshop.script(BEHIND)).split()[-1])

    def _recover(self) -> None:
        """Nothing may be left to do."""

    def _compare(self, books: dict, clients: list[Client], seconds: float) -> int:
        goals = Goals(f"faults: Redis absent, flushed ten times, away; {seconds:.0f} s")
        letters = [at - self.back for at in self.sink.took_at if at > self.back]
        goals.say(f"behind when it came back {self.behind}; first letter after {min(letters, default=0.0):.1f} s, then "
                  f"{len(letters) / max(self.caught_up, 1.0):.1f} letters a second")  # fmt: skip
        goals.at_most("seconds until all was caught up", self.caught_up, 60, 0)
        self._record(goals, books, clients)
        self._mail(goals, books)
        return goals.ended()
