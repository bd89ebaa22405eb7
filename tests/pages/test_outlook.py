"""The outlook page: what the bench has before it, whether named dates held, and before anything was learned."""

from datetime import date, timedelta

import pytest

from tests import factories as make
from tests.pages.conftest import due
from tracker.actions.learning import keep_numbers
from tracker.actions.reminders import run_sweep
from tracker.models import DueLine, FleetNumbers, Trike
from tracker.queries.due import range_words, rebuild_differences, why_of
from tracker.queries.learning import learn
from tracker.queries.outlook import bench_outlook
from tracker.tasks.learning import learn_fleet

pytestmark = pytest.mark.django_db


def text(client) -> str:
    return client.get("/outlook/").content.decode()


def ridden(trike, now, *, months: int = 14, km_a_month: float = 120.0):
    for month in range(1, months):
        make.OdometerReadingFactory(
            trike=trike, value=km_a_month * month, read_at=now - timedelta(days=30 * (months - month))
        )


def test_an_empty_record_teaches_what_will_stand_here(desk, now):
    shown = text(desk)
    assert "it begins with the first handover" in shown
    assert "Nothing was learned from this record yet" in shown


def test_what_is_due_by_now_is_backlog_and_what_comes_stands_in_its_week(workshop, now):
    day = now.date()
    for at, low, middle, high in ((0, -40, -20, -10), (1, 8, 9, 10)):
        part = make.ComponentFactory(part_type__kind="chain")
        due(workshop.trike, part, task="chain_check", due_on=day + timedelta(days=middle),
            likely_from=day + timedelta(days=low), likely_until=day + timedelta(days=high))  # fmt: skip
        assert DueLine.objects.count() == at + 1
    from services.kinds import task as task_of

    minutes = task_of("chain_check").minutes
    ahead = bench_outlook(now)
    assert ahead.backlog == pytest.approx(minutes)
    assert [round(week.expected, 3) for week in ahead.weeks[:3]] == [0.0, pytest.approx(minutes), 0.0]


def test_learning_keeps_numbers_and_the_sweep_takes_them_over_with_the_due_lines(workshop, now, desk):
    make.ServiceIntervalFactory(task="chain_check", part_kind="chain", every_km=1500)
    ridden(workshop.trike, now)
    run_sweep(now=now, everything=True)
    assert Trike.objects.get(pk=workshop.trike.pk).fleet_numbers is None
    before = DueLine.objects.get(component=workshop.chain, task="chain_check")
    assert before.likely_from <= before.due_on <= before.likely_until
    row = keep_numbers(learned=learn(now), now=now)
    assert row.stretches >= 10  # readings a month apart from the delivery on
    assert rebuild_differences() == []  # a trike is reckoned with the numbers it points to
    run_sweep(now=now)
    assert Trike.objects.get(pk=workshop.trike.pk).fleet_numbers == row
    assert rebuild_differences() == []
    shown = text(desk)
    assert "Did the dates hold?" in shown
    assert "90 days" in shown


def test_the_task_learns_from_an_empty_record_too(db):
    learn_fleet()
    row = FleetNumbers.objects.get()
    assert (row.machines, row.stretches) == (0, 0)


def test_a_due_line_says_its_range_and_the_numbers_behind_it(workshop, now):
    make.ServiceIntervalFactory(task="chain_check", part_kind="chain", every_km=5000, every_months=None)
    ridden(workshop.trike, now)
    run_sweep(now=now, everything=True)
    line = DueLine.objects.get(component=workshop.chain, task="chain_check")
    assert line.trigger == "km"
    assert "most likely" in range_words(line, now.date())
    why = why_of(line)
    assert "own readings count" in why
    assert "The distance comes first." in why
    assert "mi" in why_of(line, "mi")


def test_a_certain_day_has_no_range(workshop, now):
    day = date(2026, 8, 1)
    line = due(workshop.trike, workshop.chain, due_on=day, likely_from=day, likely_until=day)
    assert range_words(line, now.date()) == ""
    assert why_of(line) == ""
