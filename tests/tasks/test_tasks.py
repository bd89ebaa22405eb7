import re
from datetime import UTC, datetime
from pathlib import Path

import pytest
import time_machine
from celery import current_app
from django.conf import settings as live_settings

from tests.reminders.conftest import DUE, days, some_task, trike_with
from tracker.models import OutboxMessage, SweepRun

pytestmark = pytest.mark.django_db


@pytest.fixture
def mail(settings, tmp_path) -> Path:
    settings.MAIL_CHANNEL, settings.MAIL_FOLDER = "folder", tmp_path
    return tmp_path


def due_trike() -> None:
    """A trike with work due on 1 May 2026, whose lines wait for the sweep."""
    trike = trike_with(some_task())
    trike.due_dirty = True
    trike.save()


def run(name: str):
    """Run a task here and now, as the ticker does."""
    current_app.loader.import_default_modules()
    return current_app.tasks[name].apply(throw=True).result


def test_every_line_of_the_schedule_names_a_task_that_exists():
    current_app.loader.import_default_modules()
    assert {line["task"] for line in live_settings.CELERY_BEAT_SCHEDULE.values()} <= set(current_app.tasks)


@time_machine.travel(DUE, tick=False)
def test_the_night_sweeps_every_trike_and_the_next_round_sends_its_letters(mail):
    for _ in range(3):
        due_trike()
    run("tracker.sweep")
    assert SweepRun.objects.get().finished_at == DUE
    assert run("tracker.dispatch_outbox") == 3
    assert len(list(mail.glob("*.eml"))) == 3


@time_machine.travel(DUE, tick=False)
def test_a_task_delivered_twice_works_once(mail):
    due_trike()
    for _ in range(2):
        run("tracker.sweep")
        run("tracker.dispatch_outbox")
    assert len(list(mail.glob("*.eml"))) == 1


@time_machine.travel(DUE, tick=False)
def test_while_the_mail_server_is_away_one_letter_is_tried_and_the_others_keep_their_attempts(mail, settings):
    for _ in range(3):
        due_trike()
    run("tracker.sweep")
    mail.joinpath("blocked").write_text("")
    settings.MAIL_FOLDER = mail / "blocked"
    assert run("tracker.dispatch_outbox") == 1
    assert sorted(OutboxMessage.objects.values_list("attempts", flat=True)) == [0, 0, 1]


def test_a_night_after_years_of_nights_off_makes_one_message_and_not_years_of_them(mail):
    due_trike()
    with time_machine.travel(DUE + days(800), tick=False):
        run("tracker.sweep")
    assert OutboxMessage.objects.count() == 1


@time_machine.travel(datetime(2026, 5, 1, 23, 0, tzinfo=UTC), tick=False)
def test_nothing_is_sent_at_night(mail):
    due_trike()
    run("tracker.sweep")
    assert run("tracker.dispatch_outbox") == 0
    assert OutboxMessage.objects.get().state == "waiting"


def test_no_task_is_put_off_by_a_countdown_or_an_eta():
    """A delay beyond the broker's visibility timeout runs again and again: due dates live in the database."""
    sources = [path.read_text() for path in Path(live_settings.BASE_DIR, "tracker").rglob("*.py")]
    assert not [text for text in sources if re.search(r"\b(countdown|eta)\s*=", text)]


def test_no_task_may_run_longer_than_a_third_of_the_time_after_which_it_is_given_out_again():
    options = live_settings.CELERY_BROKER_TRANSPORT_OPTIONS
    assert options["visibility_timeout"] >= live_settings.CELERY_TASK_TIME_LIMIT * 3
