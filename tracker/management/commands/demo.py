"""The whole workshop on this machine with one command: data, web server, background work."""

import os
import time
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connections
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone

from tracker.actions.heartbeats import sign_of_life
from tracker.management.children import HOST, Children, Stopped, answers, port_is_free, raise_on_signals
from tracker.management.demo_note import LOGINS, Marker
from tracker.models import Trike, User
from tracker.queries.background import KINDS
from tracker.queries.clock import local_date

WAIT_FOR_SERVER = 30.0  # seconds


class Command(BaseCommand):
    """manage.py demo [--port 8000] [--reset] [--no-serve]"""

    requires_system_checks: list[str] = []  # they load every page; `manage.py check` is in CI
    help = "Start the demo: the first start fills it, any further one opens what is there."

    def add_arguments(self, parser: CommandParser) -> None:
        """Say where, and whether to begin anew."""
        parser.add_argument("--port", type=int, default=8000, help="the port of the web server (8000)")
        parser.add_argument("--reset", action="store_true", help="throw the demo's data away and begin anew")
        parser.add_argument("--no-serve", action="store_true", help="prepare the data and stop there")

    def handle(self, *args: Any, **options: Any) -> None:
        """Prepare the data, then serve until Ctrl-C."""
        raise_on_signals()
        port = options["port"]
        try:
            if not options["no_serve"] and not port_is_free(port):
                raise CommandError(f"Port {port} is taken. Choose another: manage.py demo --port {port + 1}")
            self._prepare(options["reset"])
            if not options["no_serve"]:
                self._serve(port)
        except Stopped:
            self.stdout.write("Stopped.")

    def _prepare(self, reset: bool) -> None:
        database = self._database()
        marker = Marker(settings.DATA_DIR / "demo.json")
        note, today = marker.read(), local_date(timezone.now())
        if database.exists() and not note and self._in_use():
            raise CommandError(
                f"{database} holds a record that is not the demo's. "
                "Set TRACKER_DATA_DIR to another folder for the demo."
            )
        if not reset and note.get("state") == "ready" and database.exists():
            if _waits_for_migrations():
                call_command("migrate", verbosity=0, interactive=False)
            self._tell_age(note["day"], today.isoformat())
            return
        _remove(database)
        marker.write("loading", today)
        from tracker.management import demo_data  # only a first start needs it; it takes a third of a second

        try:
            demo_data.load(timezone.now())
        except (demo_data.DemoBroken, FileNotFoundError) as error:
            raise CommandError(str(error)) from None
        marker.write("ready", today)

    def _database(self) -> Path:
        """The demo's own database file. Its logins are public, so it never goes into any other."""
        wanted = settings.DATA_DIR / "tracker.sqlite3"
        if Path(str(settings.DATABASES["default"]["NAME"])) != wanted:
            raise CommandError("The demo keeps to its own SQLite file: start it without DATABASE_URL.")
        return wanted

    def _in_use(self) -> bool:
        """Whether somebody works with this database already: then the demo keeps its hands off."""
        if User._meta.db_table not in connections["default"].introspection.table_names():
            return False
        return User.objects.exists() or Trike.objects.exists()

    def _tell_age(self, day: str, today: str) -> None:
        if day < today:
            self.stdout.write(
                f"The demo's data is of {day}; the work due has moved on since. For fresh data: manage.py demo --reset"
            )

    def _serve(self, port: int) -> None:
        address = f"http://{HOST}:{port}"
        for name in KINDS:  # they start now; if they do not, the desk sees it three minutes later
            sign_of_life(name=name, now=timezone.now())
        connections.close_all()
        settings.STATIC_ROOT.mkdir(exist_ok=True)  # the server warns where it is missing
        environment = {"LOG_LEVEL": "WARNING", **os.environ, "PUBLIC_URL": address, "REDIS_URL": ""}
        children = Children(settings.BASE_DIR, environment)
        try:
            children.start("web server", _server(port))
            self._wait_until_ready(children, address)
            children.start("ticker", ["manage.py", "ticker", "--parent", str(os.getpid())])  # nobody waits for it
            self._welcome(address)
            while not (ended := children.ended()):
                time.sleep(0.3)
            raise CommandError(f"The {ended} ended by itself; see the lines above.")
        finally:
            children.stop()

    def _wait_until_ready(self, children: Children, address: str) -> None:
        end = time.monotonic() + WAIT_FOR_SERVER
        while not answers(f"{address}/healthz"):
            if ended := children.ended():
                raise CommandError(f"The {ended} did not start; see the lines above.")
            if time.monotonic() > end:
                raise CommandError(f"The web server did not answer within {WAIT_FOR_SERVER:.0f} s.")
            time.sleep(0.1)

    def _welcome(self, address: str) -> None:
        lines = [f"\nReady: {address}\n", f"  {'login':<11} {'password':<20} who"]
        lines += [f"  {login:<11} {password:<20} {name}" for login, name, _, password in LOGINS]
        lines += [f"\nReminders are kept as files in {settings.MAIL_FOLDER}", "Ctrl-C stops everything.\n"]
        self.stdout.write("\n".join(lines))
        self.stdout.flush()


def _server(port: int) -> list[str]:
    return [
        "-m", "gunicorn", "tracker.wsgi:application", "--bind", f"{HOST}:{port}", "--workers", "1", "--threads", "4",
        "--no-control-socket", "--graceful-timeout", "5", "--log-level", "warning",
    ]  # fmt: skip


def _waits_for_migrations() -> bool:
    """Whether the database is older than the code. Asking is quick; migrating to nowhere takes a second."""
    executor = MigrationExecutor(connections["default"])
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))


def _remove(database: Path) -> None:
    """Throw the demo's database and mail away."""
    connections.close_all()
    for name in ("", "-wal", "-shm", "-journal"):
        Path(f"{database}{name}").unlink(missing_ok=True)
    for letter in Path(settings.MAIL_FOLDER).glob("*.eml"):
        letter.unlink()
    (settings.DATA_DIR / "ticker.json").unlink(missing_ok=True)
