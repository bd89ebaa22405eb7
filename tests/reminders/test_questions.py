"""A question before a guess: one look at the display, rarely, never beside another message, and only where it can help."""

import html
import re
from datetime import date
from itertools import pairwise

import pytest

from tests import factories
from tests.reminders.conftest import DUE, POSITION, days, dispatch_all, html_of, some_task, text_of, trike_with
from tracker.actions.outbox import retry_message
from tracker.actions.posting import Outcome
from tracker.actions.reminders import GAP, sweep_trikes
from tracker.actions.visit_steps import drop_reminders
from tracker.models import DueLine, OutboxMessage, Owner, ServiceInterval, Trike, Visit

pytestmark = pytest.mark.django_db

NIGHTS = range(-60, 90, 5)


def ridden(task=None, *, read_days_ago: int = 90, km: float = 2000.0, every_km: int = 3000, **owner) -> Trike:
    """A trike whose next work hangs on the distance, delivered a year before DUE and read some days ago."""
    task = task or some_task(safety=False)
    trike = factories.OwnershipFactory(owner=factories.OwnerFactory(distance_unit="km", **owner)).trike
    component = factories.ComponentFactory(part_type__kind=task.on, state="fitted")
    factories.FitmentFactory(trike=trike, component=component, position=POSITION[task.on])
    ServiceInterval.objects.filter(task=task.code).delete()
    factories.ServiceIntervalFactory(
        task=task.code, part_kind=task.on, first_km=None, every_km=every_km, every_months=None, early_km=0
    )
    factories.OdometerReadingFactory(trike=trike, read_at=DUE - days(read_days_ago), value=km)
    return trike


def sweep(trike: Trike, *nights: int) -> None:
    for night in nights:
        sweep_trikes(trike_ids=[trike.pk], now=DUE + days(night))


def kinds(trike: Trike) -> list[str]:
    rows = OutboxMessage.objects.filter(trike=trike).order_by("pk")
    return [row.stage or row.kind for row in rows]


def test_an_old_reading_is_asked_about_before_anything_is_announced():
    trike = ridden()
    sweep(trike, *NIGHTS)
    assert kinds(trike)[:2] == ["question", "heads_up"]


def test_the_key_of_a_question_is_its_trike_and_day():
    trike = ridden()
    sweep(trike, *NIGHTS)
    asked = OutboxMessage.objects.filter(kind="question").earliest("pk")
    assert asked.key == f"{trike.pk}:ask:{asked.created_at.date().isoformat()}"


def test_a_second_sweep_asks_no_second_time():
    trike = ridden()
    for night in NIGHTS[:20]:
        sweep(trike, night, night)
    asked = list(OutboxMessage.objects.filter(kind="question").values_list("created_at", flat=True))
    assert len({moment.date() for moment in asked}) == len(asked)


def test_a_fresh_reading_is_not_asked_about():
    trike = ridden(read_days_ago=5, km=2900)
    sweep(trike, *range(0, 14, 3))
    assert "question" not in kinds(trike)


def test_work_that_hangs_on_the_calendar_is_announced_without_a_question():
    trike = trike_with(some_task(safety=False))
    sweep(trike, *range(-20, 20, 2))
    assert kinds(trike) == ["heads_up", "due", "overdue"]


def test_safety_work_is_announced_without_waiting_for_an_answer():
    trike = ridden(some_task(safety=True))
    sweep(trike, *NIGHTS)
    assert "question" not in kinds(trike)
    assert kinds(trike)[0] in {"heads_up", "due"}


@pytest.mark.parametrize(
    "why_not", [{"reminders_agreed": False}, {"stopped_at": DUE - days(90)}, {"email": ""}, {"email_dead_at": DUE}]
)
def test_only_who_agreed_to_reminders_is_asked(why_not):
    trike = ridden(**why_not)
    sweep(trike, *NIGHTS)
    assert kinds(trike) == []


def test_a_reported_theft_and_an_asked_for_day_leave_nothing_to_ask():
    stolen, booked = ridden(), ridden()
    Trike.objects.filter(pk=stolen.pk).update(stolen_on=date(2026, 1, 1))
    factories.AppointmentFactory(trike=booked, owner=booked.ownerships.get().owner, on=date(2027, 5, 1))
    for trike in (stolen, booked):
        sweep(trike, *range(-60, 10, 5))
    assert "question" not in kinds(stolen) + kinds(booked)


def test_messages_of_any_kind_about_a_trike_are_a_week_apart():
    trike = ridden()
    sweep(trike, *NIGHTS)
    moments = sorted(OutboxMessage.objects.values_list("created_at", flat=True))
    assert len(moments) > 2
    assert min(after - before for before, after in pairwise(moments)) >= GAP


def test_nobody_is_asked_again_for_two_thirds_of_a_year_who_did_not_answer():
    trike = ridden(every_km=2500)
    sweep(trike, *range(-80, 360, 10))
    asked = sorted(OutboxMessage.objects.filter(kind="question").values_list("created_at", flat=True))
    assert 1 <= len(asked) <= 2
    assert all((after - before).days >= 243 for before, after in pairwise(asked))


def test_an_answer_that_shows_time_left_puts_the_reminder_off():
    trike = ridden()
    sweep(trike, *NIGHTS)
    asked = OutboxMessage.objects.get(kind="question")
    OutboxMessage.objects.exclude(pk=asked.pk).delete()
    trike.visits.all().delete()
    answer_on = asked.created_at + days(1)
    factories.OdometerReadingFactory(trike=trike, read_at=answer_on, value=2010)
    Trike.objects.update(due_dirty=True)
    for day in range(1, 28, 4):
        sweep_trikes(trike_ids=[trike.pk], now=answer_on + days(day))
    assert kinds(trike) == ["question"]


# The letter


@pytest.fixture
def asked(settings) -> OutboxMessage:
    """A question that waits to be sent."""
    settings.PUBLIC_URL = "https://service.example.org"
    trike = ridden()
    for night in NIGHTS:
        sweep(trike, night)
        message = OutboxMessage.objects.filter(kind="question").first()
        if message is not None:
            return message
    raise AssertionError("nobody was asked")


def test_the_letter_asks_what_the_display_shows_and_links_to_the_page(asked, postbox):
    assert dispatch_all(postbox, asked.not_before) == [Outcome.SENT]
    mail = postbox.mails[0]
    assert mail["Subject"].endswith("what does your display show?")
    assert "We last know it from 31 Jan 2026." in text_of(mail)
    assert re.search(r"https://service\.example\.org/o/\S{43}\s", text_of(mail))
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"


def test_both_parts_of_the_question_say_the_same(asked, postbox):
    dispatch_all(postbox, asked.not_before)
    body = html_of(postbox.mails[0]).split("<body>")[1]
    shown = html.unescape(re.sub(r"<[^>]+>", " ", body)) + " ".join(re.findall(r'href="([^"]+)"', body))
    words = re.compile(r"[^\W_]+(?:[.,'’-][^\W_]+)*")
    assert set(words.findall(text_of(postbox.mails[0]))) == set(words.findall(shown))


def test_a_reading_told_meanwhile_drops_the_question(asked, postbox):
    factories.OdometerReadingFactory(trike=asked.trike, read_at=asked.created_at + days(1) / 24, value=2100)
    assert dispatch_all(postbox, asked.not_before) == ["dropped"]
    asked.refresh_from_db()
    assert asked.last_error == "The display was read meanwhile."


def test_an_owner_who_stops_is_asked_nothing_more(asked, postbox):
    Owner.objects.update(stopped_at=asked.created_at)
    assert dispatch_all(postbox, asked.not_before) == ["dropped"]


def test_a_question_that_failed_can_be_sent_again(asked, postbox):
    OutboxMessage.objects.update(state="failed")
    again = retry_message(message_id=asked.pk, by=None, now=asked.not_before)
    assert dispatch_all(postbox, again.not_before) == [Outcome.SENT]


def test_what_drops_the_reminders_of_a_trike_drops_its_question(asked):
    assert drop_reminders(asked.trike_id, "The trike is retired.") == 1


def test_a_shard_asks_in_as_many_queries_for_two_trikes_as_for_twelve(assert_flat_queries):
    def grow(number: int = 10) -> None:
        for _ in range(number):
            trike = factories.OwnershipFactory().trike
            part = factories.ComponentFactory(part_type__kind=some_task(safety=False).on, state="fitted")
            factories.FitmentFactory(trike=trike, component=part)
            factories.OdometerReadingFactory(trike=trike, read_at=DUE - days(90), value=2000)

    ridden()
    grow(1)
    sweep_trikes(trike_ids=list(Trike.objects.values_list("pk", flat=True)), now=DUE)
    assert OutboxMessage.objects.filter(kind="question").count() == 2

    def fetch() -> None:
        for model in (OutboxMessage, Visit, DueLine):
            model.objects.all().delete()
        sweep_trikes(trike_ids=list(Trike.objects.values_list("pk", flat=True)), now=DUE)

    assert_flat_queries(fetch, grow)
