"""`confirm` over the API: machines are not asked, a person's program may let itself be."""

from datetime import timedelta

import pytest

from tests import factories as make
from tests.api.conftest import NOW, faults, problem


@pytest.fixture
def sent(trike) -> dict:
    """An unlikely reading: about 2,150 km are expected."""
    for ago, km in ((190, 950), (30, 2000)):
        make.OdometerReadingFactory(trike=trike, value=km, read_at=NOW - timedelta(days=ago))
    return {"trike": trike.pk, "value": 3500, "unit": "km", "read_at": NOW.isoformat()}


def test_without_confirm_nobody_is_asked(desk, sent):
    made = desk.post("readings", sent)
    assert (made.status_code, made.json()["verdict"], made.json()["reason_code"]) == (201, "accepted", "")


def test_with_confirm_false_an_unlikely_reading_is_a_question(desk, sent, trike):
    asked = problem(desk.post("readings", sent | {"confirm": False}), 409, "please-confirm")
    assert faults(asked) == {"/value": "please-confirm"}
    assert 2000 < asked["facts"]["expected_low_km"] < asked["facts"]["expected_high_km"] < 3500
    assert asked["facts"]["proposals"][0] == {
        "code": "km_as_miles", "km": 2174.799, "words": "as kilometres it would be 2,175 km",
    }  # fmt: skip
    assert trike.readings.count() == 2


def test_with_confirm_true_it_is_accepted_and_noted(desk, sent):
    made = desk.post("readings", sent | {"confirm": True}).json()
    assert (made["verdict"], made["reason_code"], made["decided_by"]) == ("accepted", "confirmed", desk.user.pk)


def test_the_job_card_asks_too(desk, sent, trike):
    card = make.JobCardFactory(trike=trike)
    typed = {"value": 3500, "confirm": False}
    problem(desk.post(f"job-cards/{card.pk}/odometer", typed), 409, "please-confirm")
    assert desk.post(f"job-cards/{card.pk}/odometer", typed | {"confirm": True}).status_code == 200


def test_many_at_once_are_never_asked_about(desk, sent):
    told = desk.post("readings/bulk", {"readings": [sent | {"confirm": False}]}, Idempotency_Key="many")
    problem(told, 400, "invalid-body")


@pytest.mark.parametrize("confirm", ["yes", 1, None])
def test_confirm_is_true_or_false(desk, sent, confirm):
    assert desk.post("readings", sent | {"confirm": confirm}).status_code in {400, 422}
