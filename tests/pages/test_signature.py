"""The PIN: set after the password, signs and never logs in; wrong ones count as wrong passwords do."""

import pytest
from django.contrib.auth.hashers import make_password
from django.test import Client

from tests.pages.conftest import PASSWORD, logged_in
from tests.pages.test_job_card import at, fresh, outcome
from tracker.models import User

PIN = "4071"


def signer(pin: str = PIN) -> Client:
    """A mechanic with a PIN."""
    client = logged_in("mechanic", "pia")
    User.objects.filter(username="pia").update(pin=make_password(pin) if pin else "")
    return client


def ready(workshop, client) -> dict:
    """A card that only wants its signature; return what is sent with it."""
    client.post(at(workshop, "intake/"), {"value": "2100", "unit": "km"})
    client.post(at(workshop, "bench/"), outcome(workshop.chain, "chain_check"))
    return {"version": fresh(workshop).version}


def test_a_pin_is_set_after_the_password_and_kept_as_a_salted_hash(db):
    client = signer("")
    client.post("/signature/", {"pin": PIN, "again": PIN, "password": PASSWORD})
    stored = User.objects.get(username="pia").pin
    assert stored.count("$") >= 2
    assert PIN not in stored


@pytest.mark.parametrize(
    ("sent", "field"),
    [
        ({"pin": PIN, "again": PIN, "password": "wrong"}, "password"),
        ({"pin": PIN, "again": "4072", "password": PASSWORD}, "again"),
        ({"pin": "12", "again": "12", "password": PASSWORD}, "pin"),
        ({"pin": "1111", "again": "1111", "password": PASSWORD}, "pin"),
    ],
)
def test_what_is_no_pin_is_refused_beside_its_field_and_the_old_one_stays(db, sent, field):
    client = signer()
    before = User.objects.get(username="pia").pin
    answer = client.post("/signature/", sent)
    assert answer.status_code == 422
    assert answer.context["form"][field].errors
    assert User.objects.get(username="pia").pin == before


def test_a_pin_is_given_up_by_leaving_it_empty(db):
    signer().post("/signature/", {"pin": "", "again": "", "password": PASSWORD})
    assert User.objects.get(username="pia").pin == ""


def test_setting_the_pin_leads_back_to_the_card_and_nowhere_else(db):
    client, sent = signer(""), {"pin": PIN, "again": PIN, "password": PASSWORD}
    assert client.post("/signature/", sent | {"next": "/jobs/3/sign/"})["Location"] == "/jobs/3/sign/"
    assert client.post("/signature/", sent | {"next": "//evil.example.com/"})["Location"] == "/signature/"


def test_a_card_is_signed_with_the_pin(workshop):
    client = signer()
    assert client.post(at(workshop, "sign/"), ready(workshop, client) | {"pin": PIN}).status_code == 302
    assert (fresh(workshop).state, fresh(workshop).signed_by.username) == ("signed", "pia")


def test_a_card_is_signed_with_the_password_though_there_is_a_pin(workshop):
    client = signer()
    client.post(at(workshop, "sign/"), ready(workshop, client) | {"password": PASSWORD})
    assert fresh(workshop).state == "signed"


@pytest.mark.parametrize("pin", ["4072", "", "00004071"])
def test_a_wrong_pin_signs_nothing_and_says_so_beside_the_field(workshop, pin):
    client = signer()
    answer = client.post(at(workshop, "sign/"), ready(workshop, client) | {"pin": pin})
    assert answer.status_code == 422
    assert answer.context["form"]["pin"].errors
    assert fresh(workshop).state == "draft"


def test_a_pin_is_nothing_to_who_has_none(workshop):
    client = signer("")
    answer = client.post(at(workshop, "sign/"), ready(workshop, client) | {"pin": PIN})
    assert answer.status_code == 422


def test_a_pin_does_not_log_in(db):
    signer()
    answer = Client().post("/login/", {"username": "pia", "password": PIN})
    assert answer.status_code == 200
    assert "Not logged in." in answer.content.decode()


def test_wrong_pins_lock_as_wrong_passwords_do_and_then_the_right_one_does_not_help(workshop, settings):
    client = signer()
    sent = ready(workshop, client)
    settings.AXES_ENABLED = True
    for _ in range(settings.AXES_FAILURE_LIMIT):
        answer = client.post(at(workshop, "sign/"), sent | {"pin": "4072"})
    assert "Locked for a quarter of an hour" in answer.content.decode()
    assert "Locked" in client.post(at(workshop, "sign/"), sent | {"pin": PIN}).content.decode()
    assert fresh(workshop).state == "draft"
