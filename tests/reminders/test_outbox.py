import random
from datetime import UTC, datetime, timedelta

import pytest

from services.errors import Refusal
from tests import factories
from tests.reminders.conftest import DUE, Postbox, days, dispatch_all, some_task, text_of, trike_with
from tracker.actions.outbox import (
    LEASE,
    MOST_ATTEMPTS,
    dispatch_one,
    resolve_unknown,
    retry_message,
    settle_lost,
    wait_after,
)
from tracker.actions.posting import Delivery, Outcome
from tracker.actions.reminders import sweep_trikes
from tracker.models import OutboxMessage, Owner, Ownership, Visit
from tracker.queries.outbox import backlog, needs_a_person

pytestmark = pytest.mark.django_db


class PowerCut(BaseException):
    """The process ends here and now: nothing after this line runs."""


@pytest.fixture
def message() -> OutboxMessage:
    """A reminder that waits to be sent at DUE."""
    trike = trike_with(some_task())
    sweep_trikes(trike_ids=[trike.pk], now=DUE)
    return OutboxMessage.objects.get(trike=trike)


@pytest.fixture
def safety_notice() -> OutboxMessage:
    """A safety notice to an owner who stopped reminders."""
    trike = trike_with(some_task(), owner=factories.OwnerFactory(stopped_at=DUE - days(9)))
    return factories.OutboxMessageFactory(
        trike=trike,
        owner=trike.ownerships.get().owner,
        kind="safety",
        payload={"subject": "Do not charge the battery", "paragraphs": ["Stop using it."]},
        not_before=DUE,
    )


def power_cut(letter) -> Delivery:
    raise PowerCut


def cut_while_sending(now) -> None:
    with pytest.raises(PowerCut):
        dispatch_all(Postbox(power_cut), now)


def test_a_waiting_message_goes_out_once(message, postbox):
    assert dispatch_all(postbox, DUE) == [Outcome.SENT]
    assert dispatch_all(postbox, DUE + days(1)) == []
    message.refresh_from_db()
    assert (message.state, message.sent_at, len(postbox.letters)) == ("sent", DUE, 1)


def test_a_message_does_not_go_out_before_its_time(message, postbox):
    OutboxMessage.objects.update(not_before=DUE + timedelta(minutes=1))
    assert dispatch_all(postbox, DUE) == []


def test_two_dispatchers_never_get_the_same_message(message):
    second = Postbox()

    def while_sending(letter) -> Delivery:
        assert dispatch_all(second, DUE) == []  # another dispatcher comes by while this one sends
        return Delivery(Outcome.SENT)

    dispatch_all(Postbox(while_sending), DUE)
    assert second.letters == []


def test_a_crash_while_sending_is_shown_as_unknown_and_nothing_goes_out_by_itself(message, postbox):
    cut_while_sending(DUE)
    assert settle_lost(now=DUE + LEASE) == 0  # a slow dispatcher is not a dead one
    assert settle_lost(now=DUE + LEASE + timedelta(seconds=1)) == 1
    assert [row.pk for row in needs_a_person()] == [message.pk]
    message.refresh_from_db()
    assert message.get_state_display() == "unknown: sent or not?"
    assert dispatch_all(postbox, DUE + days(1)) == []


def test_a_safety_notice_lost_in_a_crash_goes_out_again_with_the_same_message_id(safety_notice, postbox):
    cut_while_sending(DUE)
    later = DUE + LEASE + timedelta(seconds=1)
    settle_lost(now=later)
    assert dispatch_all(postbox, later) == [Outcome.SENT]
    assert postbox.mails[0]["Message-ID"] == safety_notice.message_id


def test_a_safety_notice_reaches_who_stopped_reminders_and_keeps_no_quiet_hours(safety_notice, postbox):
    assert dispatch_all(postbox, DUE + timedelta(hours=13)) == [Outcome.SENT]
    assert "also if you stopped reminders" in " ".join(text_of(postbox.mails[0]).split())


def test_a_late_answer_still_counts_after_the_lease_ran_out(message):
    def slow(letter) -> Delivery:
        settle_lost(now=DUE + LEASE + timedelta(seconds=1))
        return Delivery(Outcome.SENT)

    dispatch_all(Postbox(slow), DUE)
    message.refresh_from_db()
    assert message.state == "sent"


def test_an_answer_does_not_overwrite_what_a_person_decided_meanwhile(message):
    def slow(letter) -> Delivery:
        settle_lost(now=DUE + LEASE + timedelta(seconds=1))
        resolve_unknown(message_id=message.pk, choice="drop", by=None, now=DUE)
        return Delivery(Outcome.SENT)

    dispatch_all(Postbox(slow), DUE)
    message.refresh_from_db()
    assert message.state == "dropped"


def hand_on(message) -> None:
    Ownership.objects.filter(trike=message.trike).update(until=DUE.date())
    factories.OwnershipFactory(trike=message.trike, since=DUE.date())


def stop(message) -> None:
    Owner.objects.update(stopped_at=DUE)


def withdraw(message) -> None:
    Owner.objects.update(reminders_agreed=False)


def finish(message) -> None:
    Visit.objects.update(state="done", closed_at=DUE)


def do_the_work(message) -> None:
    for line in message.trike.due_lines.all():
        line.due_on = line.early_on = (DUE + days(365)).date()
        line.save()


@pytest.mark.parametrize("event", [hand_on, stop, withdraw, finish, do_the_work])
def test_what_changed_between_writing_and_sending_drops_the_message(message, postbox, event):
    event(message)
    assert dispatch_all(postbox, DUE) == ["dropped"]
    message.refresh_from_db()
    assert (postbox.letters, message.state) == ([], "dropped")
    assert message.last_error


def test_a_message_that_waited_into_the_night_waits_for_the_morning_and_loses_no_attempt(message, postbox):
    night = datetime(2026, 5, 1, 21, 0, tzinfo=UTC)
    assert dispatch_all(postbox, night) == ["waiting"]
    message.refresh_from_db()
    assert (message.not_before, message.attempts) == (datetime(2026, 5, 2, 7, 0, tzinfo=UTC), 0)


def test_what_surely_did_not_go_out_is_tried_six_times_and_then_shown_as_failed(message):
    away = Postbox(lambda letter: Delivery(Outcome.LATER, "No connection to the mail server"))
    now, rng = DUE, random.Random(3)
    for _ in range(MOST_ATTEMPTS):
        assert dispatch_one(channel=away, now=now, rng=rng) is Outcome.LATER
        message.refresh_from_db()
        now = max(now, message.not_before)
    assert (message.state, message.attempts, len(away.letters)) == ("failed", 6, 6)
    assert "No connection" in message.last_error


def test_each_wait_is_about_four_times_as_long_as_the_one_before_and_differs_by_chance():
    rng = random.Random(11)
    waits = [wait_after(attempt, rng) for attempt in range(1, 6)]
    for attempt, wait in enumerate(waits):
        longest = timedelta(minutes=5) * 4**attempt
        assert longest / 2 <= wait <= longest
    assert wait_after(1, rng) != wait_after(1, rng)


def test_a_dead_address_is_marked_and_the_next_reminder_is_not_written(message):
    dead = Postbox(lambda letter: Delivery(Outcome.DEAD, "550 no such user"))
    dispatch_all(dead, DUE)
    message.refresh_from_db()
    assert (message.state, message.last_error) == ("failed", "550 no such user")
    assert message.owner.email_dead_at == DUE
    sweep_trikes(trike_ids=[message.trike_id], now=DUE + days(40))
    assert OutboxMessage.objects.count() == 1


def test_an_address_corrected_while_the_old_one_bounced_stays_alive(message):
    def bounced_late(letter) -> Delivery:
        Owner.objects.update(email="right@example.org")
        return Delivery(Outcome.DEAD, "550 no such user")

    dispatch_all(Postbox(bounced_late), DUE)
    assert Owner.objects.get().email_dead_at is None


def test_a_letter_refused_for_good_fails_without_blaming_the_address(message):
    dispatch_all(Postbox(lambda letter: Delivery(Outcome.REFUSED, "554 policy")), DUE)
    message.refresh_from_db()
    assert (message.state, message.owner.email_dead_at) == ("failed", None)


def test_a_line_that_breaks_while_sending_is_unknown(message):
    dispatch_all(Postbox(lambda letter: Delivery(Outcome.UNKNOWN, "the line broke")), DUE)
    message.refresh_from_db()
    assert message.state == "unknown"


def test_one_letter_that_cannot_be_written_does_not_stop_the_next(message, postbox):
    Owner.objects.update(email="nobody at home@@example")
    trike = trike_with(some_task())
    sweep_trikes(trike_ids=[trike.pk], now=DUE)
    assert dispatch_all(postbox, DUE) == ["failed", Outcome.SENT]


def test_a_failed_message_can_be_sent_again_and_it_is_kept_who_said_so(message, postbox):
    dispatch_all(Postbox(lambda letter: Delivery(Outcome.REFUSED, "554 policy")), DUE)
    person = factories.UserFactory()
    retried = retry_message(message_id=message.pk, by=person, now=DUE)
    assert retried.payload["decisions"] == [{"choice": "retry", "by": person.pk, "at": DUE.isoformat()}]
    assert dispatch_all(postbox, DUE) == [Outcome.SENT]


@pytest.mark.parametrize(("choice", "state"), [("sent", "sent"), ("drop", "dropped"), ("send_again", "waiting")])
def test_a_person_decides_what_nobody_knows(message, choice, state):
    OutboxMessage.objects.update(state="unknown")
    assert resolve_unknown(message_id=message.pk, choice=choice, by=None, now=DUE).state == state


@pytest.mark.parametrize(
    "attempt",
    [
        lambda pk: retry_message(message_id=pk, by=None, now=DUE),
        lambda pk: resolve_unknown(message_id=pk, choice="sent", by=None, now=DUE),
        lambda pk: retry_message(message_id=pk + 1, by=None, now=DUE),
    ],
    ids=["retry what waits", "resolve what waits", "what is not there"],
)
def test_only_failed_and_unknown_messages_can_be_decided(message, attempt):
    with pytest.raises(Refusal):
        attempt(message.pk)


def test_an_unknown_choice_is_refused(message):
    OutboxMessage.objects.update(state="unknown")
    with pytest.raises(Refusal) as refused:
        resolve_unknown(message_id=message.pk, choice="perhaps", by=None, now=DUE)
    assert refused.value.field == "choice"


def test_the_backlog_counts_what_should_have_gone_out(message):
    assert backlog(DUE - timedelta(minutes=1)).waiting == 0
    behind = backlog(DUE + timedelta(minutes=30))
    assert (behind.waiting, behind.oldest) == (1, timedelta(minutes=30))
