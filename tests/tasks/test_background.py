"""Signs of life, the running sweep, and settings that do not start (goals R6 and R27)."""

import ast
import sqlite3
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
import time_machine
from celery import current_app
from django.conf import settings as live_settings
from django.core.exceptions import ImproperlyConfigured
from django.db.utils import ConnectionHandler
from django.test import Client

from tests import factories
from tests.pages.conftest import logged_in
from tests.processes import Workshop
from tests.reminders.conftest import DUE
from tracker.actions.heartbeats import sign_of_life
from tracker.management.pulse import Pulse
from tracker.models import Heartbeat
from tracker.queries.background import KINDS, signs
from tracker.settings.base import SQLITE_OPTIONS
from tracker.settings.rules import faults
from tracker.sqlite3.base import check_pragmas

SECOND = timedelta(seconds=1)
PRODUCT = Path(live_settings.BASE_DIR, "tracker")


def run(name: str):
    current_app.loader.import_default_modules()
    return current_app.tasks[name].apply(throw=True).result


def all_alive(at=DUE) -> None:
    for name in KINDS:
        sign_of_life(name=name, now=at)


def readyz() -> tuple[int, dict]:
    answer = Client().get("/readyz")
    return answer.status_code, answer.json()["checks"]["background"]


@pytest.mark.django_db
class TestSignsOfLife:
    @pytest.mark.parametrize(("seconds", "status"), [(0, 200), (179, 200), (181, 503)])
    @pytest.mark.parametrize("gone", KINDS)
    def test_three_minutes_after_a_kind_stopped_readyz_is_red(self, gone, seconds, status):
        """Goal R27: whatever is killed, the alarm comes within three minutes, and names it."""
        all_alive()
        with time_machine.travel(DUE + seconds * SECOND, tick=False):
            for name in set(KINDS) - {gone}:
                sign_of_life(name=name, now=DUE + seconds * SECOND)
            assert readyz()[0] == status
            assert [sign.name for sign in signs(DUE + seconds * SECOND) if sign.silent] == [gone] * (status == 503)

    def test_today_says_what_stands_still_and_forgets_it_when_it_runs_again(self):
        all_alive()
        desk = logged_in("desk")
        with time_machine.travel(DUE + timedelta(minutes=10), tick=False):
            assert "The background work stands still" in desk.get("/").content.decode()
            all_alive(DUE + timedelta(minutes=10))
            assert "stands still" not in desk.get("/").content.decode()

    def test_while_it_stands_still_the_desk_and_the_api_answer(self):
        all_alive()
        with time_machine.travel(DUE + timedelta(minutes=10), tick=False):
            desk = logged_in("desk")
            assert {desk.get(path).status_code for path in ("/", "/due/", "/messages/", "/api/v1/trikes")} == {200}

    @time_machine.travel(DUE, tick=False)
    def test_never_heard_of_is_red_as_soon_as_there_are_trikes(self):
        assert readyz() == (200, {"ok": True, "says": dict.fromkeys(KINDS, "never")})
        factories.TrikeFactory()
        assert readyz()[0] == 503

    def test_several_processes_of_a_kind_write_one_row_and_not_every_time(self):
        assert [sign_of_life(name="worker", now=DUE + s * SECOND) for s in (0, 1, 44, 46, 50)] == [
            True, False, False, True, False,
        ]  # fmt: skip
        assert Heartbeat.objects.get().at == DUE + 46 * SECOND

    @time_machine.travel(DUE, tick=False)
    def test_the_dispatcher_and_the_worker_say_that_they_live(self):
        run("tracker.dispatch_outbox")
        run("tracker.heartbeat")
        assert dict(Heartbeat.objects.values_list("name", "at")) == {"dispatcher": DUE, "worker": DUE}

    @pytest.mark.django_db(transaction=True)  # it puts its connections away, as a process of its own may
    def test_a_pulse_writes_at_most_once_a_minute(self, django_assert_num_queries):
        pulse = Pulse("beat")
        pulse()
        with django_assert_num_queries(0):
            pulse()
        assert Heartbeat.objects.get().name == "beat"

    def test_a_clock_put_back_is_no_alarm(self):
        all_alive(DUE + timedelta(hours=1))
        assert not any(sign.silent for sign in signs(DUE))


@pytest.mark.django_db
class TestRunningSweep:
    @time_machine.travel(DUE, tick=False)
    def test_its_progress_is_told_at_the_desk_and_to_the_watchdog(self):
        all_alive()
        factories.SweepRunFactory(started_at=DUE - 60 * SECOND, finished_at=None, trikes_total=240, trikes_done=120)
        assert "120 of 240" in logged_in("desk").get("/").content.decode()
        assert Client().get("/readyz").json()["checks"]["sweep"]["says"].endswith("running: 120 of 240 trikes")

    @time_machine.travel(DUE, tick=False)
    def test_one_left_by_a_crash_is_not_called_running(self):
        factories.SweepRunFactory(started_at=DUE - timedelta(hours=5), finished_at=None, trikes_total=240)
        assert "not finished" in logged_in("desk").get("/").content.decode()


def test_the_settings_hold():
    assert faults(live_settings) == []


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("CELERY_TASK_ACKS_LATE", False, "ACKS_LATE"),
        ("CELERY_TASK_REJECT_ON_WORKER_LOST", False, "REJECT_ON_WORKER_LOST"),
        ("CELERY_WORKER_PREFETCH_MULTIPLIER", 4, "PREFETCH"),
        ("CELERY_BROKER_CONNECTION_MAX_RETRIES", 100, "MAX_RETRIES"),
        ("CELERY_TASK_TIME_LIMIT", None, "TIME_LIMIT"),
        ("CELERY_TASK_TIME_LIMIT", 600, "a third of the visibility timeout"),
        ("CELERY_BROKER_TRANSPORT_OPTIONS", {}, "visibility timeout"),
        ("CELERY_TASK_SOFT_TIME_LIMIT", 300, "SOFT_TIME_LIMIT"),
        ("DATABASES", {"default": {"ENGINE": "tracker.sqlite3", "OPTIONS": {"timeout": 20}}}, "IMMEDIATE"),
        ("REMINDER_WEBHOOK_URL", "https://example.org", "SECRET"),
        ("BOUNCE_ADDRESS", "bounce", "BOUNCE_ADDRESS"),
        ("BOUNCE_ADDRESS", "a+b@example.org", "BOUNCE_ADDRESS"),
    ],
)
def test_a_setting_that_loses_or_doubles_work_is_named(name, value, words):
    names = [name for name in dir(live_settings) if name.isupper()]
    values = {name: getattr(live_settings, name) for name in names if name != "SECRET_KEY_FALLBACKS"}
    assert any(words in fault for fault in faults(SimpleNamespace(**{**values, name: value})))


def test_a_process_with_a_wrong_setting_does_not_start(tmp_path):
    tmp_path.joinpath("wrong_settings.py").write_text(
        "from tracker.settings.base import *\nCELERY_TASK_ACKS_LATE = False\n"
    )
    workshop = Workshop(tmp_path, DJANGO_SETTINGS_MODULE="wrong_settings", PYTHONPATH=str(tmp_path))
    process = workshop.start("manage.py", "check")
    said, _ = process.communicate(timeout=120)
    assert process.returncode != 0
    assert "CELERY_TASK_ACKS_LATE must be on" in said


def calls() -> list[ast.Call]:
    trees = [ast.parse(path.read_text()) for path in PRODUCT.rglob("*.py")]
    return [node for tree in trees for node in ast.walk(tree) if isinstance(node, ast.Call)]


def test_no_call_puts_a_task_off_or_retries_it_through_the_broker():
    """An eta longer than the visibility timeout multiplies a task: due dates live in the database."""
    found = calls()
    names = {keyword.arg for call in found for keyword in call.keywords}
    assert not names & {"eta", "countdown", "retry_backoff", "autoretry_for", "default_retry_delay"}
    assert not [call for call in found if isinstance(call.func, ast.Attribute) and call.func.attr == "apply_async"]


def test_every_task_keeps_the_limits_of_the_settings():
    current_app.loader.import_default_modules()
    ours = [task for name, task in current_app.tasks.items() if name.startswith("tracker.")]
    third = live_settings.CELERY_BROKER_TRANSPORT_OPTIONS["visibility_timeout"] / 3
    assert len(ours) >= 8
    for task in ours:
        assert (task.time_limit or live_settings.CELERY_TASK_TIME_LIMIT) < third, task.name
        assert task.acks_late in {None, True}, task.name
        assert task.reject_on_worker_lost in {None, True}, task.name


@pytest.mark.django_db
def test_pragmas_are_read_back_on_every_connection(tmp_path):
    """On a file of its own with the settings of the embedded default, whatever the other tests run on."""
    settings = {"ENGINE": "tracker.sqlite3", "NAME": str(tmp_path / "x.sqlite3"), "OPTIONS": SQLITE_OPTIONS}
    line = ConnectionHandler({"default": settings})["default"]
    with line.cursor() as cursor:
        cursor.execute("PRAGMA recursive_triggers")
        assert cursor.fetchone() == (1,)
    check_pragmas(line.connection)
    line.close()


@pytest.mark.parametrize(
    ("pragma", "timeout"),
    [("PRAGMA recursive_triggers = OFF", 60), ("PRAGMA foreign_keys = OFF", 60), ("PRAGMA journal_mode = DELETE", 60),
     ("PRAGMA synchronous = OFF", 60), ("SELECT 1", 5)],
)  # fmt: skip
def test_a_connection_set_to_anything_else_is_refused(tmp_path, pragma, timeout):
    line = sqlite3.connect(tmp_path / "x.sqlite3", timeout=timeout)
    for good in ("recursive_triggers = ON", "foreign_keys = ON", "journal_mode = WAL", "synchronous = NORMAL"):
        line.execute(f"PRAGMA {good}")
    line.execute(pragma)
    with pytest.raises(ImproperlyConfigured):
        check_pragmas(line)
    line.close()
