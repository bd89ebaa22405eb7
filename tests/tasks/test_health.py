from datetime import timedelta

import pytest
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client
from django.utils import timezone

from tests import factories
from tests.mail_server import free_port
from tracker.actions.heartbeats import sign_of_life
from tracker.queries.background import KINDS

pytestmark = pytest.mark.django_db


def readyz() -> tuple[int, dict]:
    response = Client().get("/readyz")
    return response.status_code, response.json()["checks"]


def test_healthz_answers_without_asking_the_database(django_assert_num_queries):
    with django_assert_num_queries(0):
        assert Client().get("/healthz").json() == {"status": "ok"}


def test_a_new_workshop_is_ready():
    status, checks = readyz()
    assert status == 200
    assert all(check["ok"] for check in checks.values())


def test_a_migration_that_is_not_applied_is_red():
    name = next(name for app, name in MigrationRecorder(connection).applied_migrations() if app == "sessions")
    MigrationRecorder(connection).record_unapplied("sessions", name)
    status, checks = readyz()
    assert status == 503
    assert any("sessions" in missing for missing in checks["migrations"]["says"])


@pytest.mark.parametrize(("hours", "status"), [(25, 200), (27, 503)])
def test_a_night_without_a_sweep_is_red(hours, status):
    factories.TrikeFactory()
    for name in KINDS:
        sign_of_life(name=name, now=timezone.now())
    ended = timezone.now() - timedelta(hours=hours)
    factories.SweepRunFactory(started_at=ended, finished_at=ended)
    assert readyz()[0] == status


def test_trikes_and_never_a_sweep_is_red():
    factories.TrikeFactory()
    status, checks = readyz()
    assert (status, checks["sweep"]) == (503, {"ok": False, "says": "never"})


@pytest.mark.parametrize(("minutes", "status"), [(5, 200), (30, 503)])
def test_mail_that_does_not_go_out_is_red(minutes, status):
    factories.OutboxMessageFactory(trike=None, not_before=timezone.now() - timedelta(minutes=minutes))
    answer, checks = readyz()
    assert (answer, checks["outbox"]["says"]["waiting"]) == (status, 1)


def test_a_broker_that_is_away_is_red_and_its_address_stays_inside(settings):
    settings.REDIS_URL = f"redis://:secret-word@127.0.0.1:{free_port()}/0"
    response = Client().get("/readyz")
    assert response.status_code == 503
    assert response.json()["checks"]["broker"] == {"ok": False, "says": "ConnectionError"}
    assert b"secret-word" not in response.content


def test_a_broker_that_answers_is_ready(settings, redis_url):
    settings.REDIS_URL = redis_url
    assert readyz()[1]["broker"] == {"ok": True, "says": "redis"}


@pytest.mark.parametrize("path", ["/healthz", "/readyz"])
def test_a_watchdog_only_looks_and_no_answer_is_kept(path):
    assert Client().get(path)["Cache-Control"] == "no-store"
    assert Client().post(path).status_code == 405
