from datetime import timedelta

import pytest
import time_machine
from django.test import Client
from django.utils import timezone
from rest_framework.settings import api_settings

from services.kinds import all_tasks
from tests import factories
from tests.reminders.conftest import DUE, days, fit, phone_of, some_task, token_for, trike_with
from tracker.actions.owner_links import revoke_links
from tracker.actions.reminders import sweep_trikes
from tracker.models import OdometerReading, OwnerLink
from tracker.pages.owner import BadReading, number
from tracker.pages.owner_door import form_key
from tracker.queries.reminders import owner_view

pytestmark = pytest.mark.django_db


@pytest.fixture
def trike():
    """Delivered a good year ago, serviced never: work is due whatever today is."""
    trike = trike_with(some_task(safety=True))
    fit(trike, some_task(owner_can=True))
    today = timezone.now()
    trike.delivered_on = (today - timedelta(days=400)).date()
    trike.save()
    trike.fitments.update(fitted_at=today - timedelta(days=400))
    trike.ownerships.update(since=trike.delivered_on)
    sweep_trikes(trike_ids=[trike.pk], now=today)
    return trike


def link_to(trike, purpose: str = "page") -> str:
    return token_for(trike, purpose, timezone.now())


@pytest.fixture
def token(trike) -> str:
    return link_to(trike)


@pytest.fixture
def phone(token) -> Client:
    return phone_of(token)


def test_the_link_becomes_a_cookie_and_a_clean_address(token):
    response = Client().get(f"/o/{token}")
    assert (response.status_code, response["Location"]) == (303, "/o/")
    cookie = response.cookies["owner-link"]
    assert (cookie["httponly"], cookie["samesite"], cookie["path"]) == (True, "Lax", "/o/")
    assert token not in response["Location"]


def test_over_https_the_cookie_never_travels_in_the_clear(token):
    assert Client().get(f"/o/{token}", secure=True).cookies["owner-link"]["secure"]


def test_the_page_shows_the_trike_what_is_due_and_why(phone, trike):
    page = phone.get("/o/").content.decode()
    for words in (trike.plate, some_task(safety=True).title, some_task(owner_can=True).title, "Was due", "overdue"):
        assert words in page


def view_with_two_brakes(*, alike: bool):
    task = next(task for task in all_tasks() if task.on == "brake" and not task.owner_can)
    trike = trike_with(task)
    right = factories.ComponentFactory(part_type=trike.fitments.get().component.part_type, state="fitted")
    fitment = factories.FitmentFactory(trike=trike, component=right, position="brake-right")
    if not alike:
        factories.CompletionFactory(trike=trike, component=right, task=task.code, done_at=fitment.fitted_at + days(9))
    sweep_trikes(trike_ids=[trike.pk], now=DUE)
    return task, owner_view(trike, trike.ownerships.get().owner, DUE)


def test_the_same_task_on_both_sides_is_told_once_and_says_where():
    task, view = view_with_two_brakes(alike=True)
    assert [told.title for told in view.work] == [f"{task.title}: left brake, right brake"]


def test_sides_that_differ_are_told_apart():
    task, view = view_with_two_brakes(alike=False)
    assert [told.title for told in view.work] == [f"{task.title}: left brake", f"{task.title}: right brake"]
    assert view.work[0].why != view.work[1].why


def test_dangerous_work_shows_its_caution(phone):
    assert b"Caution:" in phone.get("/o/").content


def test_no_page_is_kept_indexed_or_told_to_others(phone, token):
    for response in (phone.get("/o/"), phone.get(f"/o/{token}"), phone.get("/o/none")):
        assert response["Cache-Control"] == "no-store"
        assert response["Referrer-Policy"] == "no-referrer"
        assert "noindex" in response["X-Robots-Tag"]


def test_no_page_asks_anything_of_another_host(phone):
    page = phone.get("/o/").content.decode()
    assert "http://" not in page
    assert "https://" not in page
    assert page.count("<script") == page.count('<script src="/static/tracker/owner.js" defer></script>') == 1


def test_opening_changes_nothing(phone, token, trike):
    stop = link_to(trike, "stop")

    def everything() -> tuple:
        owner = trike.ownerships.get().owner
        return list(OwnerLink.objects.values()), owner.stopped_at, owner.version, OdometerReading.objects.count()

    before = everything()
    answers = [phone.get(path).status_code for path in ("/o/", f"/o/{token}", "/o/visit.ics", f"/o/stop/{stop}")]
    assert (answers, everything()) == ([200, 303, 200, 200], before)


def altered(token: str) -> str:
    return token[:-1] + ("A" if token[-1] != "A" else "B")


def expired(token: str) -> str:
    OwnerLink.objects.update(expires_at=timezone.now())
    return token


def revoked(token: str) -> str:
    revoke_links(owner_id=OwnerLink.objects.get().owner_id, now=timezone.now())
    return token


def passed_on(token: str) -> str:
    trike = OwnerLink.objects.get().trike
    trike.ownerships.update(until=timezone.now().date())
    factories.OwnershipFactory(trike=trike)
    return token


def of_the_other_kind(token: str) -> str:
    return link_to(OwnerLink.objects.get().trike, "stop")


@pytest.mark.parametrize("fate", [altered, expired, revoked, passed_on, of_the_other_kind])
def test_a_dead_link_shows_the_same_friendly_page_whatever_is_wrong(token, fate):
    never_made = Client().get("/o/" + "x" * 43)
    response = Client().get(f"/o/{fate(token)}")
    assert (response.status_code, response.content) == (404, never_made.content)
    assert b"Ask for a new link" in response.content


def test_a_page_open_on_the_phone_closes_when_the_trike_passes_on(phone, token):
    passed_on(token)
    assert phone.get("/o/").status_code == 404


def test_without_a_link_there_is_no_page():
    assert Client().get("/o/").status_code == 404


def report(phone: Client, token: str, value: str, unit: str = "km"):
    return phone.post("/o/reading", {"key": form_key(token), "value": value, "unit": unit})


def test_the_owner_reports_the_odometer(phone, token, trike):
    response = report(phone, token, "3 100.5")
    assert (response.status_code, response["Location"]) == (303, "/o/?said=reading")
    reading = OdometerReading.objects.get(trike=trike)
    assert (float(reading.value), reading.unit, reading.source) == (3100.5, "km", "owner")


def test_a_doubtful_reading_is_kept_and_the_owner_is_told(phone, token):
    report(phone, token, "3000")
    assert report(phone, token, "30")["Location"] == "/o/?said=doubtful"


@pytest.mark.parametrize("typed", ["", "abc", "-5", "NaN", "1e400", "9" * 40, "<script>"])
def test_what_is_no_reading_is_refused_in_words_and_what_was_typed_stays(phone, token, typed):
    response = report(phone, token, typed)
    assert response.status_code == 422
    assert b'role="alert"' in response.content
    assert b"<script>" not in response.content
    assert OdometerReading.objects.count() == 0


def test_an_unknown_unit_is_refused(phone, token):
    assert report(phone, token, "12", "furlong").status_code == 422


@pytest.mark.parametrize(
    ("typed", "value"), [("1234", 1234), ("1,234", 1234), ("1,234.5", 1234.5), ("12,5", 12.5), (" 12 345 ", 12345)]
)
def test_numbers_are_read_as_people_type_them(typed, value):
    assert float(number(typed)) == value


def test_words_are_no_number():
    with pytest.raises(BadReading):
        number("many")


def test_reminders_are_stopped_and_resumed_from_the_page(phone, token, trike):
    owner = trike.ownerships.get().owner
    phone.post("/o/reminders", {"key": form_key(token), "wish": "stop"})
    owner.refresh_from_db()
    assert owner.stopped_at is not None
    assert "Send me reminders" in phone.get("/o/?said=stopped").content.decode()
    phone.post("/o/reminders", {"key": form_key(token), "wish": "resume"})
    owner.refresh_from_db()
    assert owner.stopped_at is None


@pytest.mark.parametrize("path", ["/o/reading", "/o/reminders"])
def test_a_form_forged_on_another_page_changes_nothing(phone, token, path, trike):
    for key in ("", form_key(token + "x"), token):
        assert phone.post(path, {"key": key, "value": "99", "unit": "km", "wish": "stop"}).status_code == 404
    assert trike.ownerships.get().owner.stopped_at is None
    assert OdometerReading.objects.count() == 0


def test_a_form_works_although_the_browser_sends_no_origin(phone, token):
    """Under Referrer-Policy no-referrer a browser sends 'Origin: null' with a form (Fetch standard, 3.2)."""
    data = {"key": form_key(token), "value": "3100", "unit": "km"}
    assert phone.post("/o/reading", data, headers={"Origin": "null"}, secure=True).status_code == 303


def test_the_visit_can_be_taken_into_a_calendar(phone, trike):
    response = phone.get("/o/visit.ics")
    assert response["Content-Type"].startswith("text/calendar")
    assert f"UID:{trike.visits.get().uid}\r\n".encode() in response.content
    assert all(len(line) <= 75 for line in response.content.split(b"\r\n"))


def test_a_model_that_turns_the_direction_of_text_is_written_out_in_the_calendar(phone, trike):
    trike.model = "Fen\u202erenn"
    trike.save()
    assert "Fen[U+202E]renn" in phone.get("/o/visit.ics").content.decode()


def test_without_a_visit_there_is_no_calendar_file(phone, trike):
    trike.visits.update(state="done", closed_at=timezone.now())
    assert phone.get("/o/visit.ics").status_code == 404


BODIES = {
    "urlencoded": {"data": "List-Unsubscribe=One-Click", "content_type": "application/x-www-form-urlencoded"},
    "multipart": {"data": {"List-Unsubscribe": "One-Click"}},
}


@pytest.mark.parametrize("encoding", BODIES)
def test_one_click_stops_without_cookie_login_or_redirect_in_both_encodings(trike, encoding):
    """RFC 8058 sections 3.1 and 3.2."""
    response = Client(enforce_csrf_checks=True).post(f"/o/stop/{link_to(trike, 'stop')}", **BODIES[encoding])
    assert response.status_code == 200
    assert trike.ownerships.get().owner.stopped_at is not None


def test_one_click_twice_is_as_good_as_once(trike):
    path = f"/o/stop/{link_to(trike, 'stop')}"
    answers = [Client().post(path, **BODIES["urlencoded"]).status_code for _ in range(2)]
    assert answers == [200, 200]


def test_looking_at_the_stop_page_shows_a_button_and_changes_nothing(trike):
    response = Client().get(f"/o/stop/{link_to(trike, 'stop')}")
    assert b"<button" in response.content
    assert trike.ownerships.get().owner.stopped_at is None


def test_a_page_link_does_not_stop_and_an_altered_stop_link_is_gone(trike, token):
    for one in (token, altered(link_to(trike, "stop"))):
        assert Client().post(f"/o/stop/{one}", **BODIES["urlencoded"]).status_code == 404


@pytest.mark.parametrize(("method", "path"), [("post", "/o/"), ("get", "/o/reading"), ("put", "/o/reminders")])
def test_other_methods_are_not_allowed(phone, method, path):
    assert getattr(phone, method)(path).status_code in {404, 405}


def test_one_address_may_guess_only_so_often_and_is_told_when_to_come_back(monkeypatch):
    monkeypatch.setitem(api_settings.DEFAULT_THROTTLE_RATES, "public", "3/min")
    with time_machine.travel("2026-05-01T10:00:20Z", tick=False):
        answers = [Client().get(f"/o/{'x' * 43}", REMOTE_ADDR="192.0.2.77") for _ in range(4)]
    assert [answer.status_code for answer in answers] == [404, 404, 404, 429]
    assert answers[3]["Retry-After"] == "40"


def test_a_mailbox_provider_may_press_the_stop_link_for_many_people(trike, monkeypatch):
    monkeypatch.setitem(api_settings.DEFAULT_THROTTLE_RATES, "public", "1/min")
    path = f"/o/stop/{link_to(trike, 'stop')}"
    assert [Client().post(path, **BODIES["urlencoded"]).status_code for _ in range(3)] == [200] * 3
