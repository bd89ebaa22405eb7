"""Owners' own quiet hours and days, where they set some; the shop's where not. When planning and again when sending."""

from datetime import UTC, date, datetime, timedelta

import pytest

from tests import factories
from tests.reminders.conftest import DUE, days, dispatch_all, some_task, trike_with
from tracker.actions.outbox import retry_message
from tracker.actions.posting import Outcome
from tracker.actions.reminders import sweep_trikes
from tracker.models import OutboxMessage, Owner

pytestmark = pytest.mark.django_db

LONDON = {"time_zone": "Europe/London"}  # an hour ahead of UTC in May


def waits_until(now=DUE, **owner) -> datetime:
    """When a reminder written at `now` to an owner with these wishes may go out."""
    trike = trike_with(some_task(), owner=factories.OwnerFactory(**LONDON | owner))
    sweep_trikes(trike_ids=[trike.pk], now=now)
    return OutboxMessage.objects.get(trike=trike).not_before


def test_who_sets_nothing_has_the_shops_hours(settings):
    settings.QUIET_UNTIL_HOUR = 12
    assert waits_until() == datetime(2026, 5, 1, 11, 0, tzinfo=UTC)


def test_an_owners_own_hours_go_before_the_shops():
    assert waits_until(quiet_from_hour=22, quiet_until_hour=17) == datetime(2026, 5, 1, 16, 0, tzinfo=UTC)


def test_one_hour_of_ones_own_leaves_the_other_to_the_shop(settings):
    assert waits_until(quiet_until_hour=14) == datetime(2026, 5, 1, 13, 0, tzinfo=UTC)
    assert waits_until(quiet_from_hour=11) == datetime(2026, 5, 2, 7, 0, tzinfo=UTC)


def test_nothing_arrives_on_an_owners_quiet_days():
    """1 May 2026 is a Friday."""
    assert waits_until(quiet_weekdays=[4, 5, 6]) == datetime(2026, 5, 4, 7, 0, tzinfo=UTC)


def test_quiet_hours_within_a_day_and_none_at_all():
    assert waits_until(quiet_from_hour=1, quiet_until_hour=12) == datetime(2026, 5, 1, 11, 0, tzinfo=UTC)
    assert waits_until(DUE.replace(hour=2), quiet_from_hour=9, quiet_until_hour=9) == DUE.replace(hour=2)


def test_seven_quiet_days_stored_by_whatever_means_break_nothing():
    assert waits_until(quiet_weekdays=list(range(7))) == DUE


def test_hours_set_after_the_reminder_was_written_hold_when_it_is_sent(postbox):
    waits_until()
    Owner.objects.update(quiet_from_hour=21, quiet_until_hour=18, quiet_weekdays=[4])
    assert dispatch_all(postbox, DUE) == ["waiting"]
    message = OutboxMessage.objects.get()
    assert (message.not_before, message.attempts) == (datetime(2026, 5, 2, 17, 0, tzinfo=UTC), 0)
    assert dispatch_all(postbox, message.not_before) == [Outcome.SENT]


def test_what_a_person_sends_again_keeps_the_owners_hours(postbox):
    waits_until()
    Owner.objects.update(quiet_from_hour=21, quiet_until_hour=18)
    OutboxMessage.objects.update(state="failed")
    again = retry_message(message_id=OutboxMessage.objects.get().pk, by=None, now=DUE)
    assert again.not_before == datetime(2026, 5, 1, 17, 0, tzinfo=UTC)


def test_a_safety_notice_keeps_no_quiet_hours_of_anybody(postbox):
    trike = trike_with(some_task(), owner=factories.OwnerFactory(quiet_from_hour=8, quiet_until_hour=20))
    factories.OutboxMessageFactory(
        trike=trike, owner=trike.ownerships.get().owner, kind="safety", not_before=DUE,
        payload={"subject": "Do not charge the battery", "paragraphs": ["Stop using it."]},
    )  # fmt: skip
    assert dispatch_all(postbox, DUE) == [Outcome.SENT]


# Snooze


def snoozed(task, until: date, **owner):
    """A trike whose open visit its owner does not want to hear of before `until`."""
    trike = trike_with(task, owner=factories.OwnerFactory(**LONDON | owner))
    sweep_trikes(trike_ids=[trike.pk], now=DUE - days(20))
    sweep_trikes(trike_ids=[trike.pk], now=DUE - days(15))
    visit = trike.visits.filter(state="open").first()
    if visit is None:
        sweep_trikes(trike_ids=[trike.pk], now=DUE - days(14))
        OutboxMessage.objects.all().delete()
        visit = trike.visits.get(state="open")
    visit.snoozed_until = until
    visit.save()
    return trike


def stages(trike) -> list[str]:
    return list(OutboxMessage.objects.filter(trike=trike).order_by("pk").values_list("stage", flat=True))


def sweep_days(trike, first: int, last: int) -> None:
    for day in range(first, last):
        sweep_trikes(trike_ids=[trike.pk], now=DUE + days(day))


def test_a_snoozed_visit_is_not_written_about_and_the_snooze_ends_by_itself():
    trike = snoozed(some_task(safety=False), (DUE + days(10)).date())
    sweep_days(trike, -13, 10)
    assert stages(trike) == []
    sweep_days(trike, 10, 11)
    assert stages(trike) == ["overdue"]


def test_safety_work_that_falls_due_in_a_snooze_is_told_once_and_the_words_say_why(postbox):
    trike = snoozed(some_task(safety=True), (DUE + days(60)).date())
    sweep_days(trike, -13, 60)
    assert stages(trike) == ["snoozed"]
    message = OutboxMessage.objects.get()
    assert message.created_at >= DUE - days(1)
    assert dispatch_all(postbox, message.not_before) == [Outcome.SENT]
    text = postbox.mails[0].get_body(("plain",)).get_content()
    assert "not before 30 Jun 2026. We write this once all the same, because work that matters for your safety" in text
    assert postbox.mails[0]["Subject"].endswith("one thing that should not wait")


def test_safety_work_told_as_due_before_the_snooze_is_not_told_again():
    trike = trike_with(some_task(safety=True))
    sweep_days(trike, 0, 1)
    trike.visits.filter(state="open").update(snoozed_until=(DUE + days(28)).date())
    sweep_days(trike, 1, 28)
    assert stages(trike) == ["due"]


def test_after_the_snooze_the_stages_go_on_a_week_apart():
    trike = snoozed(some_task(safety=True), (DUE + days(3)).date())
    sweep_days(trike, -13, 12)
    assert stages(trike) == ["snoozed", "overdue"]


def test_a_reminder_that_waits_when_its_owner_snoozes_waits_for_the_end(postbox):
    trike = trike_with(some_task(safety=False), owner=factories.OwnerFactory(**LONDON))
    sweep_days(trike, 0, 1)
    trike.visits.filter(state="open").update(snoozed_until=date(2026, 5, 15))
    assert dispatch_all(postbox, DUE) == ["waiting"]
    message = OutboxMessage.objects.get()
    assert message.not_before == datetime(2026, 5, 15, 7, 0, tzinfo=UTC)
    sweep_days(trike, 1, 15)
    assert dispatch_all(postbox, message.not_before) == [Outcome.SENT]
    sweep_days(trike, 15, 20)
    assert stages(trike) == ["due"]  # the next one keeps a week's distance from when this one went out
    assert dispatch_all(postbox, DUE + timedelta(days=19)) == []
