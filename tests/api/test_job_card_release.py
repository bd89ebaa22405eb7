"""Release, photos and summary of a card over the API."""

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from tests import factories as make
from tests import pictures
from tests.api.conftest import Caller, faults, machine, problem
from tests.releasing import card_on_the_bench, done, part_of, release_if_demanded
from tracker.actions.signing import sign_card
from tracker.models import JobCard, OutboxMessage, Photo

pytestmark = pytest.mark.usefixtures("photo_folder")

LINES = ("brakes_hold", "brakes_stop", "brakes_fixed", "test_ride")


@pytest.fixture
def card(db) -> JobCard:
    """A card whose left brake was checked."""
    card = card_on_the_bench(owner=make.OwnerFactory(distance_unit="mi"))
    done(card, "brake-left", "brakes_check")
    return card


def passed(**changed) -> dict:
    return {"answers": {**{line: {"passed": True} for line in LINES}, **changed}}


def upload(caller: Caller, card: JobCard, content: bytes | None = None, headers: dict | None = None, **values):
    file = SimpleUploadedFile("x.jpg", pictures.jpeg() if content is None else content)
    return caller.client.post(
        f"/api/v1/job-cards/{card.pk}/photos", {"file": file, **values}, headers={**caller.headers, **(headers or {})}
    )


# Release


def test_the_checklist_tells_what_is_demanded_and_because_of_which_work(card, desk):
    told = desk.get(f"job-cards/{card.pk}/release")
    body = told.json()
    assert (body["state"], told["ETag"]) == ("missing", '"1"')
    assert [(area["code"], area["because"]) for area in body["areas"]] == [("brakes", ["Brake check (left brake)"])]
    assert [line["code"] for line in body["lines"]] == list(LINES)
    assert (body["released_at"], body["released_by"]) == (None, None)


def test_a_card_is_refused_its_signature_until_it_is_released(card, mechanic):
    body = problem(mechanic.post(f"job-cards/{card.pk}/sign"), 422, "release-missing")
    assert faults(body) == {"/release": "release-missing"}
    shown = mechanic.post(f"job-cards/{card.pk}/release", passed(), If_Match='"1"')
    assert (shown.status_code, shown.json()["released_by"]) == (200, mechanic.user.pk)
    assert mechanic.post(f"job-cards/{card.pk}/sign").status_code == 200


def test_lines_that_failed_are_named_by_pointer(card, mechanic):
    answer = mechanic.post(f"job-cards/{card.pk}/release", passed(brakes_hold={"passed": False, "note": "slips"}))
    assert faults(problem(answer, 422, "release-failed")) == {"/answers/brakes_hold": "not-passed"}


def test_lines_that_are_missing_or_not_asked_for_are_named(card, mechanic):
    body = passed(hinge_locks={"passed": True})
    del body["answers"]["test_ride"]
    answer = problem(mechanic.post(f"job-cards/{card.pk}/release", body), 422, "release-incomplete")
    assert faults(answer) == {"/answers/test_ride": "not-answered", "/answers/hinge_locks": "not-in-list"}


@pytest.mark.parametrize(
    "body",
    [{}, {"answers": None}, {"answers": []}, {"answers": {"test_ride": True}}, {"answers": {"test_ride": {}}},
     {"answers": {"test_ride": {"passed": "yes"}}}, {"answers": {}, "by": 1}],
)  # fmt: skip
def test_a_body_of_the_wrong_form_is_refused(card, mechanic, body):
    assert mechanic.post(f"job-cards/{card.pk}/release", body).status_code == 400


def test_a_stale_tag_releases_nothing(card, mechanic):
    problem(mechanic.post(f"job-cards/{card.pk}/release", passed(), If_Match='"9"'), 412, "precondition-failed")


def test_the_same_key_releases_once_and_gets_the_first_answer_again(card, mechanic):
    first, again = (mechanic.post(f"job-cards/{card.pk}/release", passed(), Idempotency_Key="ride-1") for _ in range(2))
    assert first.content == again.content
    assert JobCard.objects.get().version == 2


def test_a_second_release_is_a_conflict(card, mechanic, admin):
    mechanic.post(f"job-cards/{card.pk}/release", passed())
    problem(admin.post(f"job-cards/{card.pk}/release", passed()), 409, "already-released")


def test_a_release_is_taken_back(card, mechanic):
    mechanic.post(f"job-cards/{card.pk}/release", passed())
    assert mechanic.delete(f"job-cards/{card.pk}/release").json()["released_at"] is None
    problem(mechanic.delete(f"job-cards/{card.pk}/release"), 409, "wrong-state")


def test_desk_and_keys_read_the_checklist_and_never_sign_it(card, desk):
    for caller in (desk, machine("read", "jobs:write", role="mechanic")):
        assert caller.get(f"job-cards/{card.pk}/release").status_code == 200
        problem(caller.post(f"job-cards/{card.pk}/release", passed()), 403, "not-allowed")


# Photos


def test_a_photo_is_added_listed_and_taken_off(card, desk, photo_folder):
    made = upload(desk, card, caption="Scored", component=part_of(card, "brake-left").pk)
    assert made.status_code == 201, made.content
    (row,) = desk.get(f"job-cards/{card.pk}/photos").json()
    assert row == made.json()
    assert (row["caption"], row["component"], row["width"]) == ("Scored", part_of(card, "brake-left").pk, 64)
    assert desk.client.get(row["address"]).status_code == 200
    assert desk.delete(f"job-cards/{card.pk}/photos/{row['id']}").status_code == 200
    assert desk.get(f"job-cards/{card.pk}/photos").json() == []


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"Dear workshop,\n", "photo-refused"),
        (b"", "photo-refused"),
        (pictures.SVG, "photo-refused"),
        (pictures.jpeg(300, 200)[:500], "photo-refused"),
        (pictures.moving("WEBP"), "photo-refused"),
        (pictures.png_bomb(), "photo-too-large"),
    ],
    ids=["text", "empty", "svg", "truncated", "animated", "bomb"],
)
def test_what_is_no_photo_is_refused_by_its_member(card, desk, content, code):
    assert faults(problem(upload(desk, card, content), 422, code)) == {"/file": code}
    assert not Photo.objects.exists()


def test_a_body_too_large_is_refused(card, desk, settings):
    settings.PHOTO_MAX_BYTES = 1000
    problem(upload(desk, card, b"x" * 70_000), 413, "too-large")


def test_a_photo_sent_as_json_is_refused(card, desk):
    problem(desk.post(f"job-cards/{card.pk}/photos", {"file": "x"}), 415, "unsupported-media-type")


@pytest.mark.parametrize("values", [{"component": "x"}, {"component": "0"}, {"caption": "x" * 201}, {"name": "x"}])
def test_a_part_of_the_form_that_is_wrong_is_named(card, desk, values):
    answer = upload(desk, card, **values)
    assert answer.status_code in {400, 422}
    assert list(faults(json.loads(answer.content))) == [f"/{next(iter(values))}"]


def test_a_photo_of_a_part_elsewhere_is_refused(card, desk):
    problem(upload(desk, card, component=make.ComponentFactory().pk), 422, "not-on-this-trike")


def test_the_same_upload_twice_under_one_key_is_one_photo(card, desk):
    first, again = (upload(desk, card, headers={"Idempotency-Key": "p-1"}) for _ in range(2))
    assert first.content == again.content
    assert Photo.objects.count() == 1


def test_a_key_with_another_picture_is_refused(card, desk):
    upload(desk, card, headers={"Idempotency-Key": "p-1"})
    answer = upload(desk, card, pictures.jpeg(70, 70), headers={"Idempotency-Key": "p-1"})
    problem(answer, 422, "key-reused")


def test_a_signed_card_takes_no_photo(card, desk, now):
    upload(desk, card)
    release_if_demanded(card, now)
    sign_card(card_id=card.pk, version=None, by=make.UserFactory(), now=now)
    problem(upload(desk, card, pictures.jpeg(70, 70)), 409, "card-already-signed")
    problem(desk.delete(f"job-cards/{card.pk}/photos/{Photo.objects.get().pk}"), 409, "card-already-signed")


def test_a_photo_of_another_card_is_not_found_here(card, desk):
    upload(desk, card)
    other = make.JobCardFactory()
    problem(desk.delete(f"job-cards/{other.pk}/photos/{Photo.objects.get().pk}"), 404, "not-found")


def test_reviewers_see_photos_and_add_none(card, reviewer):
    assert reviewer.get(f"job-cards/{card.pk}/photos").json() == []
    problem(upload(reviewer, card), 403, "not-allowed")


def test_the_same_queries_list_2_photos_and_20(card, desk, assert_flat_queries):
    make.PhotoFactory.create_batch(2, card=card)
    assert_flat_queries(
        lambda: desk.get(f"job-cards/{card.pk}/photos"),
        lambda: [make.PhotoFactory(card=card, component=make.ComponentFactory()) for _ in range(18)],
    )


# Summary


def test_the_summary_speaks_the_owners_units(card, desk):
    body = desk.get(f"job-cards/{card.pk}/summary").json()
    assert "1,305 mi" in body["text"]
    assert (body["text"], body["is_written"], body["message"]) == (body["proposed"], False, None)


def test_a_summary_is_put_under_its_entity_tag_only(card, desk):
    address = f"job-cards/{card.pk}/summary"
    problem(desk.send("PUT", address, {"text": "All well."}), 428, "precondition-required")
    problem(desk.send("PUT", address, {"text": "All well."}, If_Match='"9"'), 412, "precondition-failed")
    shown = desk.send("PUT", address, {"text": "All well."}, If_Match='"1"')
    assert (shown.json()["text"], shown["ETag"]) == ("All well.", '"2"')


@pytest.mark.parametrize("body", [{}, {"text": None}, {"text": 5}, {"text": "x" * 4001}, {"text": "x", "by": 1}])
def test_a_summary_of_the_wrong_form_is_refused(card, desk, body):
    assert desk.send("PUT", f"job-cards/{card.pk}/summary", body, If_Match="*").status_code == 400


def test_a_summary_is_mailed_once(card, desk, now):
    address = f"job-cards/{card.pk}/summary/mail"
    problem(desk.post(address), 409, "wrong-state")
    release_if_demanded(card, now)
    sign_card(card_id=card.pk, version=None, by=make.UserFactory(), now=now)
    first, again = desk.post(address), desk.post(address)
    assert (first.json()["kind"], first.json()["id"]) == ("summary", again.json()["id"])
    assert OutboxMessage.objects.count() == 1


def test_without_an_address_a_summary_is_not_mailed(card, desk, now):
    release_if_demanded(card, now)
    sign_card(card_id=card.pk, version=None, by=make.UserFactory(), now=now)
    owner = card.trike.ownerships.get().owner
    type(owner).objects.update(email_dead_at=now)
    problem(desk.post(f"job-cards/{card.pk}/summary/mail"), 409, "no-address")


def test_a_signed_summary_is_not_changed(card, desk, now):
    release_if_demanded(card, now)
    sign_card(card_id=card.pk, version=None, by=make.UserFactory(), now=now)
    answer = desk.send("PUT", f"job-cards/{card.pk}/summary", {"text": "late"}, If_Match="*")
    problem(answer, 409, "card-already-signed")


def test_reviewers_read_the_summary_and_neither_write_nor_mail_it(card, reviewer):
    assert reviewer.get(f"job-cards/{card.pk}/summary").status_code == 200
    problem(reviewer.send("PUT", f"job-cards/{card.pk}/summary", {"text": "x"}, If_Match="*"), 403, "not-allowed")
    problem(reviewer.post(f"job-cards/{card.pk}/summary/mail"), 403, "not-allowed")
