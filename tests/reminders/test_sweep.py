from datetime import date

import pytest

from tests import factories
from tests.reminders.conftest import DUE, days, fit, some_task, trike_with
from tracker.actions.reminders import GAP, Sent, next_stage, run_sweep, sweep_trikes
from tracker.models import DueLine, OutboxMessage, Owner, Trike, Visit

pytestmark = pytest.mark.django_db


def stages(trike: Trike) -> list[str]:
    return list(OutboxMessage.objects.filter(trike=trike).order_by("pk").values_list("stage", flat=True))


def sweep(trike: Trike, now) -> None:
    sweep_trikes(trike_ids=[trike.pk], now=now)


def test_nothing_is_written_before_the_heads_up():
    trike = trike_with(some_task())
    sweep(trike, DUE - days(20))
    assert stages(trike) == []


def test_heads_up_due_overdue_and_then_once_a_month():
    trike = trike_with(some_task())
    for day in range(-20, 120):
        sweep(trike, DUE + days(day))
    assert stages(trike) == ["heads_up", "due", "overdue", "monthly-1", "monthly-2", "monthly-3"]


def test_who_comes_late_gets_one_message_and_not_those_missed():
    trike = trike_with(some_task())
    sweep(trike, DUE + days(200))
    sweep(trike, DUE + days(201))
    assert stages(trike) == ["overdue"]


def test_a_second_sweep_on_the_same_day_writes_nothing():
    trike = trike_with(some_task())
    sweep(trike, DUE)
    sweep(trike, DUE)
    assert stages(trike) == ["due"]


def test_two_messages_about_one_trike_are_a_week_apart():
    trike = trike_with(some_task())
    sweep(trike, DUE - days(3))
    sweep(trike, DUE)
    assert stages(trike) == ["heads_up"]
    sweep(trike, DUE - days(3) + GAP)
    assert stages(trike) == ["heads_up", "due"]


def test_a_date_that_moves_back_does_not_begin_the_stages_again():
    history = [Sent(1, "due", DUE - days(30))]
    assert next_stage(date(2026, 5, 10), date(2026, 5, 1), 1, history, DUE) == ""


def test_a_new_visit_begins_its_stages_anew():
    history = [Sent(1, "overdue", DUE - days(30))]
    assert next_stage(date(2026, 5, 10), date(2026, 5, 1), 2, history, DUE) == "heads_up"


@pytest.mark.parametrize(
    "why_not",
    [
        {"reminders_agreed": False},
        {"email": ""},
        {"stopped_at": DUE - days(1)},
        {"email_dead_at": DUE - days(1)},
    ],
    ids=["never agreed", "no address", "stopped", "dead address"],
)
def test_who_cannot_or_must_not_be_written_to_gets_a_visit_but_no_message(why_not):
    trike = trike_with(some_task(), owner=factories.OwnerFactory(**why_not))
    sweep(trike, DUE)
    assert Visit.objects.filter(trike=trike, state="open").count() == 1
    assert stages(trike) == []


def test_a_trike_without_an_owner_gets_no_message():
    trike = trike_with(some_task())
    trike.ownerships.update(until=date(2026, 1, 1))
    sweep(trike, DUE)
    assert stages(trike) == []


def test_the_open_visit_keeps_its_id_while_its_lines_change():
    trike = trike_with(some_task())
    sweep(trike, DUE - days(10))
    first = Visit.objects.get(trike=trike, state="open")
    other = next(
        task
        for task in [some_task(safety=True), some_task(safety=False)]
        if task.on != first.lines.get().component.part_type.kind
    )
    fit(trike, other)
    sweep(trike, DUE)
    again = Visit.objects.get(trike=trike, state="open")
    assert (again.pk, again.lines.count(), again.sequence > first.sequence) == (first.pk, 2, True)


def test_a_visit_that_nothing_calls_for_any_more_is_dropped():
    trike = trike_with(some_task())
    sweep(trike, DUE)
    fitment = trike.fitments.get()
    factories.CompletionFactory(
        trike=trike, component=fitment.component, task=Visit.objects.get().lines.get().task, done_at=DUE
    )
    sweep(trike, DUE + days(1))
    assert Visit.objects.get().state == "dropped"


def test_what_owners_can_do_themselves_calls_them_once_and_only_when_it_is_due():
    trike = trike_with(some_task(owner_can=True))
    for day in range(-20, 120):
        sweep(trike, DUE + days(day))
    assert stages(trike) == ["due"]


def test_work_for_the_workshop_opens_a_visit_of_its_own_beside_what_the_owner_does():
    trike = trike_with(some_task(owner_can=True), months=6)
    sweep(trike, DUE - days(30))
    own = Visit.objects.get(state="open")
    fit(trike, some_task())
    sweep(trike, DUE)
    assert Visit.objects.get(state="open").pk != own.pk


def test_messages_wait_for_the_morning_on_the_owners_wall():
    owner = factories.OwnerFactory(time_zone="Pacific/Auckland")  # 22:00 there
    trike = trike_with(some_task(), owner=owner)
    sweep(trike, DUE)
    wall = OutboxMessage.objects.get(trike=trike).not_before
    assert (wall - DUE).total_seconds() == 10 * 3600


def test_a_sweep_tells_how_far_it_got_and_what_it_wrote():
    for _ in range(3):
        trike_with(some_task())
    heard = []
    run = run_sweep(now=DUE, everything=True, tell=lambda done, total: heard.append((done, total)))
    assert heard == [(3, 3)]
    assert (run.trikes_done, run.visits_planned, run.messages_written, run.finished_at) == (3, 3, 3, DUE)


def test_a_sweep_over_nothing_ends_at_once():
    assert run_sweep(now=DUE).finished_at == DUE


def test_stored_lines_found_wrong_on_a_clean_trike_are_counted():
    trike = trike_with(some_task())
    sweep(trike, DUE)
    trike.due_lines.update(due_on=date(2030, 1, 1))
    run = run_sweep(now=DUE, everything=True)
    assert run.differences == 1
    assert run_sweep(now=DUE, everything=True).differences == 0


def test_a_dirty_trike_is_swept_first_and_comes_out_clean():
    trike = trike_with(some_task())
    Trike.objects.update(due_dirty=True)
    run = run_sweep(now=DUE - days(300))
    trike.refresh_from_db()
    assert (run.trikes_done, run.differences, trike.due_dirty) == (1, 0, False)


def test_a_shard_costs_the_same_queries_for_two_trikes_and_for_twelve(assert_flat_queries):
    def grow(number: int = 10) -> None:
        for _ in range(number):
            trike_with(some_task())

    grow(2)
    days_gone = iter(range(100))

    def fetch() -> None:
        for model in (OutboxMessage, Visit, DueLine):
            model.objects.all().delete()
        sweep_trikes(trike_ids=list(Trike.objects.values_list("pk", flat=True)), now=DUE + days(next(days_gone)))

    assert_flat_queries(fetch, grow)
    assert Owner.objects.count() == 12
