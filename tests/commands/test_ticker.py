import json
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from celery import Celery
from celery.schedules import crontab

from tracker.management.beat import Ticker

NIGHT = crontab(hour="1", minute="15")
START = datetime(2026, 5, 1, 12, 0, tzinfo=UTC)


@pytest.fixture
def ran() -> list[str]:
    return []


@pytest.fixture
def app(ran) -> Celery:
    app = Celery("test", broker="memory://localhost/", set_as_current=False)
    app.conf.timezone = "UTC"

    @app.task(name="sweep", shared=False)
    def sweep() -> None:
        ran.append("sweep")

    @app.task(name="mail", shared=False)
    def mail() -> None:
        ran.append("mail")

    @app.task(name="broken", shared=False)
    def broken() -> None:
        raise RuntimeError("it broke")

    app.finalize()
    return app


@pytest.fixture
def ticker(app, tmp_path):
    schedule = {"night": {"task": "sweep", "schedule": NIGHT}, "often": {"task": "mail", "schedule": 15.0}}
    return lambda lines=schedule: Ticker(app, lines, tmp_path / "ticker.json")


@pytest.mark.django_db
class TestTicks:
    def test_at_the_first_start_everything_is_made_up_for(self, ticker, ran):
        with time_machine.travel(START, tick=False):
            ticker().tick()
        assert ran == ["sweep", "mail"]

    def test_each_entry_runs_when_it_is_due_and_not_before(self, ticker, ran):
        with time_machine.travel(START, tick=False) as clock:
            one = ticker()
            one.tick()
            for _ in range(4):
                clock.shift(timedelta(seconds=10))
                one.tick()
        assert ran == ["sweep", "mail", "mail", "mail"]

    def test_a_night_missed_while_off_is_made_up_for_once(self, ticker, ran):
        with time_machine.travel(START, tick=False):
            ticker().tick()
        with time_machine.travel(START + timedelta(days=3), tick=False):
            later = ticker()
            later.tick()
            later.tick()
        assert ran.count("sweep") == 2

    def test_a_restart_on_the_same_day_does_not_sweep_again(self, ticker, ran):
        with time_machine.travel(START, tick=False):
            ticker().tick()
        with time_machine.travel(START + timedelta(hours=5), tick=False):
            ticker().tick()
        assert ran.count("sweep") == 1

    def test_a_task_that_breaks_does_not_stop_the_others(self, ticker, ran):
        lines = {
            "a": {"task": "broken", "schedule": 1.0},
            "b": {"task": "not there", "schedule": 1.0},
            "c": {"task": "mail", "schedule": 1.0},
        }
        with time_machine.travel(START, tick=False):
            ticker(lines).tick()
        assert ran == ["mail"]

    def test_it_sleeps_until_the_next_entry_is_due(self, ticker):
        with time_machine.travel(START, tick=False):
            assert ticker().tick() == pytest.approx(15, abs=0.5)

    def test_stopped_while_working_it_begins_nothing_new(self, ticker, ran):
        one = ticker()
        one.stop()
        one.run()
        one.tick()
        assert ran == []

    def test_it_ends_when_its_parent_is_gone(self, ticker, ran):
        answers = iter([True, False])
        ticker().run(still_wanted=lambda: next(answers))
        assert ran == ["sweep", "mail"]


@pytest.mark.parametrize("text", ["", "[]", "{", '{"night": "yesterday"}', '{"night": 7}'])
def test_a_memory_that_cannot_be_read_counts_as_none(ticker, tmp_path, text):
    (tmp_path / "ticker.json").write_text(text)
    assert {entry.last_run.year for entry in ticker().entries} == {2000}


def test_what_is_remembered_is_plain_json(ticker, tmp_path):
    (tmp_path / "ticker.json").write_text(json.dumps({"often": START.isoformat()}))
    assert {entry.name: entry.last_run for entry in ticker().entries}["often"] == START
