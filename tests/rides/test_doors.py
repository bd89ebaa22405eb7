"""Ride files at every door: the owner's page, the desk, the API. What was refused stands beside the field."""

import json

import pytest
import time_machine
from django.contrib.auth.models import Group
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from tests import factories as make
from tests.api.conftest import faults, machine, person, problem
from tests.factories import NOW
from tests.rides.files import START, fit, gpx, northward, records, session
from tracker.actions.owner_links import make_link
from tracker.models import OdometerReading, RideFile, Trike
from tracker.pages.owner_door import form_key
from tracker.rides.limits import MAX_BYTES

pytestmark = pytest.mark.django_db
WAY = northward(6_000, seconds=1_800, every=10)
GPX = gpx(WAY)
FIT = fit([*records(WAY), session(6.5, minutes=30)])


@pytest.fixture(autouse=True)
def _standing_clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def trike() -> Trike:
    """Its display showed 2,000 km on 1 April 2026."""
    trike = make.OwnershipFactory(owner__distance_unit="km").trike
    make.OdometerReadingFactory(trike=trike)
    return trike


def sent(content: bytes = GPX, name: str = "ride.gpx") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, content)


# The owner


@pytest.fixture
def token(trike) -> str:
    return make_link(trike_id=trike.pk, owner_id=trike.ownerships.get().owner_id, purpose="page", now=NOW)[1]


@pytest.fixture
def phone(token) -> Client:
    client = Client(enforce_csrf_checks=True)
    client.get(f"/o/{token}")
    return client


def send(phone: Client, token: str, content: bytes = GPX, name: str = "ride.gpx"):
    return phone.post("/o/ride", {"key": form_key(token), "file": sent(content, name)})


def test_the_owner_sends_a_ride_and_is_told_what_it_adds_up_to(phone, token, trike):
    answer = send(phone, token)
    assert (answer.status_code, answer["Location"]) == (303, "/o/?said=ride")
    page = phone.get("/o/?said=ride").content.decode()
    assert "Your ride is counted." in page
    assert "1 ride since 1 Apr 2026: 6 km" in page
    assert RideFile.objects.get().trike == trike
    assert trike.log_entries.get(kind="ride").source == "owner"


def test_the_owner_page_says_what_is_kept_of_a_ride(phone):
    assert "Where you rode is not kept." in phone.get("/o/").content.decode()


def test_rides_are_told_in_the_owners_unit(phone, token, trike):
    trike.ownerships.get().owner.__class__.objects.update(distance_unit="mi")
    send(phone, token)
    assert "1 ride since 1 Apr 2026: 4 mi" in phone.get("/o/").content.decode()


@pytest.mark.parametrize("name", ["ride.fit", "ride.txt", "../../ride", ""])
def test_the_name_of_the_file_does_not_matter(phone, token, name):
    assert send(phone, token, GPX, name or "x").status_code == 303


def test_a_second_sending_of_the_same_ride_is_refused_politely(phone, token):
    send(phone, token)
    answer = send(phone, token)
    assert answer.status_code == 409
    assert "is counted already. There is nothing more to do." in answer.content.decode()
    assert RideFile.objects.count() == 1


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "The file is empty."), (b"hello", "neither a GPX nor a FIT file"), (GPX[:-60], "damaged"), (FIT[:-9], "damaged"),
        (gpx([(lat, lon, None) for lat, lon, _ in WAY]), "where but not when"),
        (gpx(northward(6_000, seconds=1_800, start=START.replace(month=3))), "after this ride"),
        (b"<" + b" " * MAX_BYTES, "8 MB"), (b"<" + b" " * 13 * 1024 * 1024, "larger than 8 MB"),
    ],
    ids=lambda value: "" if isinstance(value, bytes) else str(value),
)  # fmt: skip
def test_what_cannot_be_counted_is_told_beside_the_field(phone, token, content, words):
    answer = send(phone, token, content)
    page = answer.content.decode()
    assert answer.status_code in {409, 422}
    assert words in page
    assert 'role="alert" id="ride-refused"' in page
    assert not RideFile.objects.exists()


def test_a_form_without_a_file_is_told_so(phone, token):
    assert "The file is empty." in phone.post("/o/ride", {"key": form_key(token)}).content.decode()


def test_a_ride_forged_from_another_page_is_not_counted(phone, token):
    for key in ("", token, form_key("another")):
        assert phone.post("/o/ride", {"key": key, "file": sent()}).status_code == 404
    assert not RideFile.objects.exists()


def test_without_a_link_no_ride_is_counted(token):
    assert send(Client(), token).status_code == 404


def test_a_link_counts_rides_of_its_own_trike_only(phone, token, trike):
    other = make.OwnershipFactory().trike
    phone.post("/o/ride", {"key": form_key(token), "file": sent(), "trike": other.pk, "trike_id": other.pk})
    assert RideFile.objects.get().trike == trike


def test_a_link_of_a_trike_that_passed_on_counts_nothing(phone, token, trike):
    trike.ownerships.update(until=NOW.date())
    make.OwnershipFactory(trike=trike, since=NOW.date())
    assert send(phone, token).status_code == 404
    assert not RideFile.objects.exists()


def test_looking_at_the_address_counts_nothing(phone):
    assert phone.get("/o/ride").status_code == 405


# The desk


def desk_of(role: str) -> Client:
    user = make.UserFactory()
    user.groups.add(Group.objects.get_or_create(name=role)[0])
    client = Client()
    client.force_login(user)
    return client


def test_the_desk_counts_a_ride_and_is_told_what_the_odometer_should_show(trike):
    client = desk_of("desk")
    answer = client.post(f"/trikes/{trike.pk}/ride/", {"file": sent(FIT)}, follow=True)
    assert "Ride counted: 6 km. The odometer should show about 2,006 km." in answer.content.decode()
    reading = OdometerReading.objects.get(source="ride_file")
    assert (reading.km, reading.entered_by is not None) == (2006.5, True)


@pytest.mark.parametrize("content", [b"", b"hello", b"<" + b" " * 13 * 1024 * 1024], ids=["empty", "words", "large"])
def test_what_the_desk_cannot_count_is_told_beside_the_field(trike, content):
    answer = desk_of("mechanic").post(f"/trikes/{trike.pk}/ride/", {"file": sent(content)})
    assert answer.status_code == 422
    assert 'id="id_file_error"' in answer.content.decode()


def test_a_form_of_the_desk_without_a_file_is_told_so(trike):
    answer = desk_of("desk").post(f"/trikes/{trike.pk}/ride/", {})
    assert (answer.status_code, 'id="id_file_error"' in answer.content.decode()) == (422, True)


def test_a_ride_counted_already_is_told_beside_the_field(trike):
    client = desk_of("desk")
    client.post(f"/trikes/{trike.pk}/ride/", {"file": sent()})
    answer = client.post(f"/trikes/{trike.pk}/ride/", {"file": sent()})
    assert answer.status_code == 409
    assert "is counted already" in answer.content.decode()


def test_a_reviewer_may_look_at_the_page_but_not_count(trike):
    client = desk_of("reviewer")
    assert client.get(f"/trikes/{trike.pk}/ride/").status_code == 200
    assert client.post(f"/trikes/{trike.pk}/ride/", {"file": sent()}).status_code == 403


def test_rides_stand_among_the_readings_as_what_they_are(trike):
    client = desk_of("desk")
    client.post(f"/trikes/{trike.pk}/ride/", {"file": sent()})
    page = client.get("/readings/?verdict=estimated").content.decode()
    assert "at least about 2,006 km" in page
    assert "ride file" in page
    log = client.get(f"/trikes/{trike.pk}/").content.decode()
    assert "6 km from a file; the odometer should show about 2,006 km" in log


def test_the_page_for_a_reading_leads_to_the_ride_file(trike):
    assert f'href="/trikes/{trike.pk}/ride/"' in desk_of("desk").get(f"/trikes/{trike.pk}/reading/").content.decode()


# The API


def upload(caller, trike, content=GPX, **headers):
    named = {key.replace("_", "-"): value for key, value in headers.items()}
    body = {"trike": trike.pk, "file": sent(content)}
    return caller.client.post("/api/v1/rides", body, headers={**caller.headers, **named})


def test_a_ride_sent_by_another_system_is_counted_at_once(trike):
    made = upload(machine("readings:write"), trike)
    assert made.status_code == 201, made.content
    told = made.json()
    assert (told["day"], told["minutes"], told["shows_km"]) == ("2026-04-20", 30, 2006.0)
    assert set(told) == {"id", "trike", "frame_serial", "day", "km", "minutes", "reading", "shows_km", "added_at"}
    assert made["Location"] == f"/api/v1/rides/{told['id']}"


def test_the_same_request_twice_counts_once_and_is_answered_alike(trike):
    caller = machine("readings:write")
    first, again = upload(caller, trike, Idempotency_Key="k"), upload(caller, trike, Idempotency_Key="k")
    assert (again.status_code, again.content, again["Idempotency-Replayed"]) == (201, first.content, "true")
    problem(upload(caller, trike, FIT, Idempotency_Key="k"), 422, "key-reused")
    assert RideFile.objects.count() == 1


def test_the_same_ride_under_another_key_is_a_409(trike):
    caller = machine("readings:write")
    upload(caller, trike, Idempotency_Key="k")
    problem(upload(caller, trike, Idempotency_Key="l"), 409, "ride-already-counted")


@pytest.mark.parametrize(
    ("content", "status", "code"),
    [
        (b"", 422, "empty-file"), (b"hello", 422, "not-a-ride-file"), (b"PK\x03\x04", 422, "unsafe-ride-file"),
        (gpx(WAY, before="<!DOCTYPE gpx [<!ENTITY a 'b'>]>"), 422, "unsafe-ride-file"),
        (gpx([(lat, lon, None) for lat, lon, _ in WAY]), 422, "ride-without-times"),
        (gpx(northward(40_000, seconds=1_800)), 422, "ride-too-fast"),
        (fit([session(5.0, sport=1)]), 422, "no-ride"),
        (gpx(northward(6_000, seconds=1_800, start=START.replace(month=3))), 409, "ride-before-reading"),
        (gpx(northward(6_000, seconds=1_800, start=START.replace(month=7))), 422, "ride-in-future"),
        (b"<" + b" " * MAX_BYTES, 422, "file-too-large"), (b"<" + b" " * (MAX_BYTES + 100_000), 413, "too-large"),
    ],
    ids=lambda value: "" if isinstance(value, bytes) else str(value),
)  # fmt: skip
def test_each_refusal_has_its_own_code(trike, content, status, code):
    problem(upload(machine("readings:write"), trike, content), status, code)
    assert not RideFile.objects.exists()


def test_a_ride_of_no_trike_is_refused(trike):
    trike.pk = 987_654
    assert upload(machine("readings:write"), trike).status_code == 422


def test_a_ride_is_sent_as_a_form_with_its_trike(trike):
    caller = machine("readings:write")
    problem(caller.post("rides", {"trike": trike.pk}), 415, "unsupported-media-type")
    answer = caller.client.post("/api/v1/rides", {"file": sent()}, headers=caller.headers)
    assert faults(problem(answer, 400, "invalid-body")) == {"/trike": "required"}


@pytest.mark.parametrize("trike_id", ["x", "-1", "1.0", "٣", "9" * 20, ""])
def test_a_trike_that_is_no_number_is_told(db, trike_id):
    caller = machine("readings:write")
    answer = caller.client.post("/api/v1/rides", {"trike": trike_id, "file": sent()}, headers=caller.headers)
    assert set(faults(problem(answer, 422, "invalid-values"))) == {"/trike"}


def test_rides_are_listed_by_trike(trike):
    make.RideFileFactory(trike=trike)
    make.RideFileFactory()
    found = json.loads(machine("read").get("rides", trike=trike.pk).content)["results"]
    assert [row["trike"] for row in found] == [trike.pk]


def test_who_may_only_read_does_not_count(trike):
    problem(upload(machine("read"), trike), 403, "not-allowed")
    problem(upload(person("reviewer"), trike), 403, "not-allowed")


def test_the_limits_of_form_and_reader_are_one(settings):
    assert settings.RIDE_MAX_BYTES == MAX_BYTES
