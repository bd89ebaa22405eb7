"""The forms of the owner's page: what is refused stands where it was sent, what was typed stays, in few queries."""

import pytest

from services.kinds import all_tasks
from tests import factories as make
from tests.factories import NOW
from tests.reminders.conftest import fit, phone_of, some_task, token_for, trike_with
from tracker.actions.reminders import sweep_trikes
from tracker.models import Completion
from tracker.pages.owner_shown import minutes_words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("standing_clock")]


@pytest.fixture
def trike():
    trike = trike_with(some_task(safety=False))
    fit(trike, some_task(owner_can=True))
    sweep_trikes(trike_ids=[trike.pk], now=NOW)
    return trike


@pytest.fixture
def phone(trike):
    return phone_of(token_for(trike))


def send(phone, path: str, **sent):
    return phone.post(path, {"key": phone.key, **sent})


def test_a_day_without_room_is_refused_at_its_form_and_the_note_stays(phone):
    response = send(phone, "/o/day", on="2026-05-16", note="The brake squeals.")  # a Saturday
    page = response.content.decode()
    assert response.status_code == 409
    assert 'id="day-refused">16 May 2026 has no room at the bench.' in page
    assert "The brake squeals.</textarea>" in page
    assert '<a href="#day">' in page


@pytest.mark.parametrize("typed", ["", "tomorrow", "2026-02-30"])
def test_what_is_no_day_is_asked_for_again(phone, typed):
    assert "Please choose a day." in send(phone, "/o/day", on=typed).content.decode()


@pytest.mark.parametrize("weeks", ["3", "-1", "x", "", "9" * 40])
def test_a_wait_that_is_not_offered_is_refused(phone, weeks):
    assert send(phone, "/o/later", weeks=weeks).status_code == 422


def test_where_safety_work_is_overdue_the_page_says_why_it_cannot_wait(phone, trike):
    task = some_task(safety=True)
    fit(trike, task, months=11)
    sweep_trikes(trike_ids=[trike.pk], now=NOW)
    assert "is overdue and matters for your safety" in phone.get("/o/").content.decode()
    assert send(phone, "/o/later", weeks="1").status_code == 409


def test_own_tasks_show_the_caution_before_the_words_and_a_tick_after_them(phone):
    page = phone.get("/o/").content.decode()
    own = page[page.index('id="own"') :]
    task = some_task(owner_can=True)
    assert own.index("Caution:") < own.index(task.plain[:40]) < own.index("I have done this")


@pytest.mark.parametrize("task", [*[t.code for t in all_tasks() if not t.owner_can][:3], "nonsense", ""])
def test_no_form_ticks_what_the_workshop_does(phone, task):
    assert send(phone, "/o/done", task=task, part="1").status_code == 422
    assert not Completion.objects.exists()


def test_settings_that_are_refused_keep_what_was_chosen(phone):
    page = send(
        phone, "/o/settings", form="units", distance_unit="mi", pressure_unit="psi", time_zone="Mars"
    ).content.decode()
    assert "That is no time zone we know." in page
    assert 'name="distance_unit" value="mi" checked' in page


def test_handing_on_without_a_word_is_refused_beside_the_field(phone):
    response = send(phone, "/o/hand-on", words=" ")
    assert response.status_code == 422
    assert 'id="words-refused">Who gets it?' in response.content.decode()


def test_the_data_come_as_a_file_for_this_owner_alone(phone, trike):
    response = phone.get("/o/my-data")
    assert response["Content-Disposition"] == 'attachment; filename="my-trike-data.json"'
    assert response.json()["you"]["email"] == trike.ownerships.get().owner.email
    assert response["Cache-Control"] == "no-store"


def test_the_page_costs_the_same_queries_with_2_own_tasks_as_with_22(phone, trike, assert_flat_queries):
    def grow():
        for _ in range(20):
            make.DueLineFactory(trike=trike, task="chain_clean", owner_can=True, due_on=NOW.date(), facts=facts)

    facts = trike.due_lines.first().facts
    assert_flat_queries(lambda: phone.get("/o/"), grow)


@pytest.mark.parametrize(
    ("minutes", "words"), [(0, "5 minutes"), (43, "45 minutes"), (60, "1 hour"), (135, "2 hours 15 minutes")]
)
def test_bench_time_is_told_as_people_say_it(minutes, words):
    assert minutes_words(minutes) == words
