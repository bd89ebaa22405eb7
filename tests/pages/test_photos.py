"""Photos at the desk: taken in, shown to staff only, refused beside the field, gone when the record says so."""

import hashlib
import io
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.test import Client

from tests import factories as make
from tests import pictures
from tests.pages.conftest import carry
from tests.releasing import release_if_demanded
from tracker.actions import photos as photo_actions
from tracker.actions import signing
from tracker.models import Component, JobCard, LogEntry, Photo
from tracker.queries.photos import photo_faults

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("photo_folder")]


@pytest.fixture
def card(workshop) -> JobCard:
    return workshop.card


def upload(client, card, content=None, field="file", name="x.jpg", **values):
    file = SimpleUploadedFile(name, pictures.jpeg() if content is None else content, content_type="image/jpeg")
    return client.post(f"/jobs/{card.pk}/photos/", {field: file, **values})


def files(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir()) if folder.exists() else []


def test_a_photo_from_the_camera_stands_on_the_card(card, mechanic, photo_folder):
    answer = upload(mechanic, card, field="camera", caption="Scored rotor")
    photo = Photo.objects.get()
    assert answer["Location"] == f"/jobs/{card.pk}/photos/"
    assert (photo.caption, photo.added_by.username, photo.width, photo.height) == (
        "Scored rotor",
        "the-mechanic",
        64,
        48,
    )
    assert files(photo_folder) == [photo.name]
    page = mechanic.get(f"/jobs/{card.pk}/photos/").content.decode()
    assert 'alt="Scored rotor"' in page
    assert 'accept="image/*" capture="environment"' in page


def test_a_photo_may_show_a_component(card, workshop, mechanic):
    upload(mechanic, card, component_id=workshop.chain.pk)
    assert Photo.objects.get().component == workshop.chain


def test_a_photo_may_show_the_part_that_this_card_fits(card, mechanic):
    swap = make.SwapFactory(card=card, position="battery", new_component__part_type__kind="battery")
    upload(mechanic, card, component_id=swap.new_component_id)
    assert Photo.objects.get().component == swap.new_component


def test_a_photo_of_a_part_elsewhere_is_refused_beside_the_field(card, mechanic):
    answer = upload(mechanic, card, component_id=make.ComponentFactory().pk, caption="kept words")
    assert answer.status_code == 422
    assert 'value="kept words"' in answer.content.decode()
    assert not Photo.objects.exists()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"Dear workshop,\n", "cannot be read as a photo"),
        (b"", "cannot be read as a photo"),
        (pictures.SVG, "cannot be read as a photo"),
        (pictures.jpeg(300, 200)[:500], "cannot be read as a photo"),
        (pictures.moving("WEBP"), "moving picture"),
        (pictures.png_bomb(), "40 million pixels"),
    ],
    ids=["text", "empty", "svg", "truncated", "animated", "bomb"],
)
@pytest.mark.parametrize("field", ["file", "camera"])
def test_what_is_no_photo_is_refused_beside_its_field_and_leaves_nothing(
    card, mechanic, photo_folder, field, content, said
):
    answer = upload(mechanic, card, content, field=field, caption="kept words")
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    assert f'id="id_{field}_error"' in page
    assert 'value="kept words"' in page
    assert (Photo.objects.count(), files(photo_folder)) == (0, [])


def test_a_file_too_large_is_dropped_on_the_way_in_and_said_beside_its_field(card, mechanic, settings):
    settings.PHOTO_MAX_BYTES = 100_000
    answer = upload(mechanic, card, b"\xff" * 150_000, field="camera", caption="kept words")
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "larger than 12 MB" in page[page.index('id="id_camera"') : page.index('id="id_file"')]
    assert 'value="kept words"' in page


def test_a_body_far_too_large_is_refused_unread(card, mechanic, settings):
    settings.PHOTO_MAX_BYTES = 100_000
    assert upload(mechanic, card, b"\xff" * 250_000).status_code in {400, 413}
    assert not Photo.objects.exists()


def test_a_form_without_a_picture_is_refused(card, mechanic):
    answer = mechanic.post(f"/jobs/{card.pk}/photos/", {"caption": "kept words"})
    assert answer.status_code == 422
    assert "Take a picture or choose a file." in answer.content.decode()


def test_two_pictures_at_once_are_refused(card, mechanic):
    two = {name: SimpleUploadedFile("x.jpg", pictures.jpeg()) for name in ("camera", "file")}
    assert mechanic.post(f"/jobs/{card.pk}/photos/", two).status_code == 422


def test_a_caption_too_long_is_refused(card, mechanic, photo_folder):
    assert upload(mechanic, card, caption="x" * 201).status_code == 422
    assert files(photo_folder) == []


def test_a_caption_is_shown_escaped(card, mechanic):
    upload(mechanic, card, caption='"><script>alert(1)</script>')
    assert "<script>alert" not in mechanic.get(f"/jobs/{card.pk}/photos/").content.decode()


def test_the_same_photo_again_stands_once(card, mechanic, photo_folder):
    for _ in range(2):
        assert upload(mechanic, card).status_code == 302
    assert (Photo.objects.count(), len(files(photo_folder))) == (1, 1)


def test_a_full_card_takes_no_more(card, mechanic, photo_folder):
    for number in range(photo_actions.MOST_PHOTOS):
        upload(mechanic, card, pictures.jpeg(64 + number, 48))
    answer = upload(mechanic, card, pictures.jpeg(300, 48))
    assert answer.status_code == 409
    assert "The card holds 20 photos" in answer.content.decode()
    assert len(files(photo_folder)) == photo_actions.MOST_PHOTOS


def test_reviewers_look_and_do_not_add(card, mechanic, reviewer):
    upload(mechanic, card)
    page = reviewer.get(f"/jobs/{card.pk}/photos/").content.decode()
    assert "<img" in page
    assert 'type="file"' not in page
    assert upload(reviewer, card).status_code == 403


def test_the_picture_goes_to_staff_only_and_stays_with_their_browser(card, mechanic, reviewer):
    upload(mechanic, card, pictures.from_a_phone())
    photo = Photo.objects.get()
    answer = reviewer.get(f"/photos/{photo.pk}/")
    content = answer.content
    assert hashlib.sha256(content).hexdigest() == photo.sha256
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["Cache-Control"].startswith("private")
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Disposition"] == f'inline; filename="J25-00042-{photo.pk}.jpg"'
    assert b"Secret" not in content
    assert Client().get(f"/photos/{photo.pk}/").status_code == 302


def test_a_picture_whose_file_is_gone_is_not_found(card, mechanic, photo_folder):
    upload(mechanic, card)
    photo = Photo.objects.get()
    (photo_folder / photo.name).unlink()
    assert mechanic.get(f"/photos/{photo.pk}/").status_code == 404


def test_a_photo_taken_off_takes_its_file_along(card, mechanic, photo_folder):
    upload(mechanic, card)
    mechanic.post(f"/jobs/{card.pk}/photos/{Photo.objects.get().pk}/drop/")
    assert (Photo.objects.count(), files(photo_folder)) == (0, [])


def test_a_photo_of_another_card_is_not_taken_off(card, mechanic, photo_folder):
    upload(mechanic, card)
    other = make.JobCardFactory()
    answer = mechanic.post(f"/jobs/{other.pk}/photos/{Photo.objects.get().pk}/drop/", follow=True)
    assert "There is no such photo on this card" in answer.content.decode()
    assert len(files(photo_folder)) == 1


def test_a_file_goes_when_its_record_cannot_be_written(card, mechanic, photo_folder, now):
    picture = photo_actions.encoded_anew(pictures.jpeg())
    with pytest.raises(ValueError, match="no number"):
        photo_actions.keep_photo(
            card_id=card.pk, picture=picture, caption="x", component_id="no number", by=None, now=now
        )
    assert files(photo_folder) == []


def test_lost_files_are_forgotten_after_an_hour_and_others_stay(card, mechanic, photo_folder, now):
    import os

    upload(mechanic, card)
    kept = Photo.objects.get().name
    for name, age in (("lost.jpg", 7200), ("half.part", 7200), ("young.jpg", 60)):
        (photo_folder / name).write_bytes(b"x")
        os.utime(photo_folder / name, (now.timestamp() - age,) * 2)
    os.utime(photo_folder / kept, (now.timestamp() - 7200,) * 2)
    assert photo_actions.forget_lost_files(now=now) == 2
    assert files(photo_folder) == sorted([kept, "young.jpg"])


@pytest.fixture
def signed(card, mechanic, workshop, now) -> JobCard:
    """A signed card with two photos."""
    upload(mechanic, card)
    upload(mechanic, card, pictures.jpeg(90, 60), component_id=workshop.chain.pk)
    card.tasks.update(outcome="done")
    JobCard.objects.filter(pk=card.pk).update(reading=make.OdometerReadingFactory(trike=card.trike, value=2100))
    release_if_demanded(card, now)
    return signing.sign_card(card_id=card.pk, version=None, by=make.UserFactory(), now=now)


def test_the_signed_entry_names_each_photo_by_its_hash(signed, workshop):
    body = LogEntry.objects.get(kind="job_card_signed").body
    assert [photo["sha256"] for photo in body["photos"]] == list(
        Photo.objects.order_by("pk").values_list("sha256", flat=True)
    )
    assert [photo["component"] for photo in body["photos"]] == [None, workshop.chain.pk]


def test_a_signed_card_takes_no_photo_and_gives_none_away(signed, mechanic, photo_folder):
    answer = upload(mechanic, signed, pictures.jpeg(70, 70))
    assert answer.status_code == 409
    page = mechanic.post(f"/jobs/{signed.pk}/photos/{Photo.objects.first().pk}/drop/", follow=True).content.decode()
    assert "was signed by" in page
    assert "drop/" not in page
    assert (Photo.objects.count(), len(files(photo_folder))) == (2, 2)


def verified() -> str:
    out = io.StringIO()
    call_command("verify_logbook", stdout=out)
    return out.getvalue()


def test_verifying_the_logbook_counts_the_photos_that_hold(signed):
    assert "2 photos hold" in verified()


def test_verifying_the_logbook_names_a_photo_that_was_changed(signed, photo_folder):
    photo = Photo.objects.order_by("pk").first()
    (photo_folder / photo.name).write_bytes(b"another picture")
    out = io.StringIO()
    with pytest.raises(CommandError):
        call_command("verify_logbook", stdout=out)
    assert f"Card J25-00042, photo {photo.pk}: its file was changed after it was taken in" in out.getvalue()


def test_a_photo_whose_file_is_gone_is_named(signed, photo_folder):
    photo = Photo.objects.order_by("pk").first()
    (photo_folder / photo.name).unlink()
    assert [(fault.card, fault.why) for fault in photo_faults()] == [("J25-00042", "its file is gone")]


def test_photos_of_open_cards_are_verified_too(card, mechanic, photo_folder):
    upload(mechanic, card)
    assert list(photo_faults()) == []


def test_the_same_queries_show_2_photos_and_20(card, workshop, mechanic, assert_flat_queries):
    def more(count: int) -> None:
        for number in range(count):
            part: Component = carry(make.TrikeFactory(), "chain", "chain", f"Q{Photo.objects.count()}-{number}")
            make.models.Photo.objects.create(
                card=card, component=part, name=f"{part.pk}.jpg", sha256=f"{part.pk:064}", width=4, height=3, size_bytes=9,
                added_at=make.NOW, added_by=make.UserFactory(),
            )  # fmt: skip

    more(2)
    assert_flat_queries(lambda: mechanic.get(f"/jobs/{card.pk}/photos/"), lambda: more(18))
