"""Figures for a monitoring system: who may read them, and that they are what the record says."""

import re
from datetime import timedelta

import pytest
import time_machine
from django.test import Client

from tests import factories
from tests.reminders.conftest import DUE
from tracker.actions.heartbeats import sign_of_life

pytestmark = pytest.mark.django_db
# The exposition format, version 0.0.4 (prometheus.io/docs/instrumenting/exposition_formats).
SAMPLE = re.compile(r'[a-z_]+(\{[a-z_]+="[a-z_]*"(,[a-z_]+="[a-z_]*")*\})? -?[0-9.e+]+')
COMMENT = re.compile(r"# (HELP [a-z_]+ .+|TYPE [a-z_]+ (gauge|counter))")


@pytest.fixture(autouse=True)
def _standing_clock():
    with time_machine.travel(DUE, tick=False):
        yield


def read(**headers: str) -> str:
    answer = Client().get("/metrics", headers=headers)
    assert answer.status_code == 200
    return answer.content.decode()


def test_every_line_is_of_the_format_and_each_name_is_explained_once():
    factories.SweepRunFactory(started_at=DUE, finished_at=None, trikes_total=240, trikes_done=120)
    sign_of_life(name="beat", now=DUE)
    text = read()
    assert text.endswith("\n")
    assert all(SAMPLE.fullmatch(line) or COMMENT.fullmatch(line) for line in text.splitlines())
    names = re.findall(r"# TYPE (\S+)", text)
    assert len(names) == len(set(names)) >= 9


def test_figures_are_what_the_record_says():
    late = DUE - timedelta(minutes=20)
    factories.OutboxMessageFactory(trike=None, not_before=late)
    factories.OutboxMessageFactory(trike=None, state="unknown")
    ended = DUE - timedelta(hours=2)
    factories.SweepRunFactory(started_at=ended, finished_at=ended)
    sign_of_life(name="worker", now=DUE - timedelta(minutes=4))
    lines = read().splitlines()
    for line in (
        'tracker_outbox_messages{state="waiting"} 1', 'tracker_outbox_messages{state="unknown"} 1',
        'tracker_outbox_messages{state="failed"} 0', "tracker_outbox_oldest_waiting_seconds 1200",
        "tracker_sweep_age_seconds 7200", "tracker_sweep_running 0",
        'tracker_heartbeat_age_seconds{process="worker"} 240', 'tracker_process_silent{process="worker"} 1',
    ):  # fmt: skip
        assert line in lines


def test_an_empty_record_has_figures_too():
    assert "tracker_sweep_age_seconds" not in read()


@pytest.mark.parametrize("address", ["192.0.2.9", "10.0.0.1", "", "unix"])
def test_from_elsewhere_a_token_is_needed(settings, address):
    settings.METRICS_TOKEN = "a long token"
    client = Client(REMOTE_ADDR=address)
    assert client.get("/metrics").status_code == 401
    assert client.get("/metrics", headers={"Authorization": "Bearer another"}).status_code == 401
    assert client.get("/metrics", headers={"Authorization": "Bearer a long token"}).status_code == 200


def test_without_a_token_in_the_settings_none_opens_it():
    client = Client(REMOTE_ADDR="192.0.2.9")
    assert client.get("/metrics", headers={"Authorization": "Bearer "}).status_code == 401


@pytest.mark.parametrize("header", ["X-Forwarded-For", "Forwarded", "X-Real-IP", "Via"])
def test_what_a_proxy_on_this_machine_passes_on_is_not_from_this_machine(header):
    assert Client().get("/metrics", headers={header: "127.0.0.1"}).status_code == 401


def test_it_only_reads_and_costs_the_same_queries_at_any_size(assert_flat_queries):
    assert Client().post("/metrics").status_code == 405
    factories.OutboxMessageFactory.create_batch(2)
    assert_flat_queries(read, lambda: factories.OutboxMessageFactory.create_batch(20))
