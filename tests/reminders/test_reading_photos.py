"""A picture with an owner's reading: kept clean, shown to the desk alone, never lost to a question, gone with its owner."""

import io
import json
import os
import zipfile
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from PIL import Image

from tests import factories as make
from tests import pictures
from tests.factories import NOW
from tests.pages.conftest import logged_in
from tests.reminders.conftest import phone_of, some_task, token_for, trike_with
from tracker.actions.passing import pass_on
from tracker.actions.photo_files import write_photo
from tracker.actions.photos import forget_lost_files
from tracker.actions.reading_photos import LONG_EDGE, MOST_KEPT
from tracker.models import OdometerReading, ReadingPhoto

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("standing_clock", "photo_folder")]
HEIC = b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic" + b"\x00" * 64


@pytest.fixture
def trike():
    trike = trike_with(some_task(safety=False))
    make.OdometerReadingFactory(trike=trike, read_at=NOW - timedelta(days=40), value=2000)
    return trike


@pytest.fixture
def phone(trike) -> Client:
    return phone_of(token_for(trike))


def send(phone: Client, content: bytes | None, value: str = "2100", name: str = "IMG_1.jpg", **more):
    sent = {"key": phone.key, "value": value, "unit": "km", **more}
    if content is not None:
        sent["photo"] = SimpleUploadedFile(name, content)
    return phone.post("/o/reading", sent)


def files(folder) -> list[str]:
    return sorted(path.name for path in folder.iterdir()) if folder.exists() else []


def test_a_picture_is_kept_beside_its_reading_without_its_metadata(phone, trike, photo_folder):
    assert send(phone, pictures.from_a_phone())["Location"] == "/o/?said=reading"
    row = ReadingPhoto.objects.get()
    assert (row.reading.value, row.owner) == (2100, trike.ownerships.get().owner)
    assert files(photo_folder) == [row.name]
    kept = (photo_folder / row.name).read_bytes()
    assert b"Secret" not in kept
    image = Image.open(io.BytesIO(kept))
    assert (image.format, image.size, len(kept)) == ("JPEG", (row.width, row.height), row.size_bytes)


def test_a_large_picture_is_kept_small(phone):
    send(phone, pictures.jpeg(4000, 3000))
    assert ReadingPhoto.objects.get().width == LONG_EDGE


def test_without_a_picture_a_reading_is_as_good(phone, photo_folder):
    assert send(phone, None)["Location"] == "/o/?said=reading"
    assert (ReadingPhoto.objects.count(), files(photo_folder)) == (0, [])


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "cannot be read as a photo"), (b"Dear workshop", "cannot be read as a photo"), (pictures.SVG, "cannot be read"),
        (pictures.jpeg(400, 300)[:900], "cannot be read as a photo"), (HEIC, "HEIC format"),
        (HEIC.replace(b"heic", b"mif1", 1), "HEIC format"), (pictures.png_bomb(), "40 million pixels"),
        (pictures.moving("WEBP"), "moving picture"), (b"%PDF-1.7" + b"x" * 500, "cannot be read"),
        (b"PK\x03\x04" + b"\0" * 400, "cannot be read"),
    ],
    ids=["empty", "text", "svg", "cut", "heic", "heif", "bomb", "moving", "pdf", "zip"],
)  # fmt: skip
def test_what_is_no_picture_is_refused_in_words_and_nothing_is_kept(phone, content, words, photo_folder):
    answer = send(phone, content)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert words in page
    assert 'value="2100"' in page  # what was typed stays
    assert (
        'type="file" accept="image/jpeg,image/png,image/webp" aria-describedby="refused photo-kept" aria-invalid="true"'
        in page
    )
    assert OdometerReading.objects.filter(source="owner").count() == 0
    assert files(photo_folder) == []


def test_a_file_that_is_too_large_is_refused_in_words(phone, settings):
    settings.PHOTO_MAX_BYTES = 20_000
    answer = send(phone, b"x" * 30_000)
    assert answer.status_code == 422
    assert "larger than 12 MB" in answer.content.decode()
    assert OdometerReading.objects.filter(source="owner").count() == 0


def test_a_file_name_from_outside_is_not_used(phone, photo_folder):
    send(phone, pictures.jpeg(), name="../../../../etc/passwd.jpg")
    assert files(photo_folder) == [ReadingPhoto.objects.get().name]


def asked(phone) -> tuple[dict, str]:
    """Send an unlikely reading with a picture; return what the page's form carries, and the page."""
    answer = send(phone, pictures.jpeg(), value="9100")
    page = answer.content.decode()
    assert answer.status_code == 409
    seal = page.partition('name="waiting" value="')[2].partition('"')[0]
    confirmed = page.partition('name="confirmed" value="')[2].partition('"')[0]
    return {"value": "9100", "confirmed": confirmed, "meant": "accept", "waiting": seal}, page


def test_while_the_reading_is_asked_about_its_picture_waits_and_goes_along(phone, photo_folder):
    sent, page = asked(phone)
    assert "We have your picture" in page
    assert not ReadingPhoto.objects.exists()
    assert len(files(photo_folder)) == 1
    assert send(phone, None, **sent).status_code == 303
    row = ReadingPhoto.objects.get()
    assert row.reading.value == 9100
    assert files(photo_folder) == [row.name]


def test_a_picture_chosen_anew_counts_instead(phone):
    sent, _ = asked(phone)
    send(phone, pictures.jpeg(200, 100), **sent)
    assert ReadingPhoto.objects.get().width == 200


def test_nobody_claims_the_picture_that_waits_for_another_owner(phone, photo_folder):
    sent, _ = asked(phone)
    other = trike_with(some_task(safety=False))
    stranger = phone_of(token_for(other))
    assert send(stranger, None, value="10", waiting=sent["waiting"]).status_code == 303
    assert not ReadingPhoto.objects.exists()


@pytest.mark.parametrize("seal", ["", "x", "../waiting-1.jpg", "0" * 64, "\x00", "9" * 500])
def test_a_made_up_claim_is_no_picture(phone, seal):
    asked(phone)
    assert send(phone, None, waiting=seal).status_code == 303
    assert not ReadingPhoto.objects.exists()


def test_a_picture_that_nobody_came_back_for_goes_at_night_and_kept_ones_stay(phone, photo_folder):
    kept = make.ReadingPhotoFactory(name=write_photo(b"x")).name
    asked(phone)
    for path in photo_folder.iterdir():
        os.utime(path, (0, 0))
    assert forget_lost_files(now=NOW) == 1
    assert files(photo_folder) == [kept]


def test_a_bad_number_keeps_the_picture_for_the_next_try(phone):
    page = send(phone, pictures.jpeg(), value="abc").content.decode()
    seal = page.partition('name="waiting" value="')[2].partition('"')[0]
    send(phone, None, value="2100", waiting=seal)
    assert ReadingPhoto.objects.get().reading.value == 2100


def test_an_owner_keeps_no_more_than_the_newest(phone, trike, photo_folder):
    owner = trike.ownerships.get().owner
    for number in range(MOST_KEPT):
        make.ReadingPhotoFactory(
            owner=owner,
            reading__trike=trike,
            reading__read_at=NOW - timedelta(days=50),
            added_at=NOW - timedelta(days=number),
        )
    send(phone, pictures.jpeg())
    left = ReadingPhoto.objects.order_by("added_at")
    assert (left.count(), left.first().added_at) == (MOST_KEPT, NOW - timedelta(days=MOST_KEPT - 2))


# The desk


def test_the_desk_sees_the_picture_where_it_judges_the_reading(phone, trike):
    send(phone, pictures.jpeg(), value="30")  # less than the last one
    row = OdometerReading.objects.get(value=30)
    desk = logged_in("desk")
    for path in (f"/readings/{row.pk}/", "/readings/?verdict=suspect", f"/trikes/{trike.pk}/"):
        assert f'src="/readings/{row.pk}/photo/"' in desk.get(path).content.decode(), path
    answer = desk.get(f"/readings/{row.pk}/photo/")
    assert (answer["Content-Type"], answer["X-Content-Type-Options"], answer["Cache-Control"]) == (
        "image/jpeg", "nosniff", "no-store",
    )  # fmt: skip


def test_a_reading_that_was_accepted_leads_to_its_picture(phone, trike):
    send(phone, pictures.jpeg())
    row = OdometerReading.objects.get(value=2100)
    desk = logged_in("desk")
    for path in ("/readings/?verdict=accepted", f"/trikes/{trike.pk}/"):
        assert f'<a class="go" href="/readings/{row.pk}/">picture</a>' in desk.get(path).content.decode(), path
    assert f'src="/readings/{row.pk}/photo/"' in desk.get(f"/readings/{row.pk}/").content.decode()


def test_it_is_never_public(phone):
    send(phone, pictures.jpeg())
    address = f"/readings/{ReadingPhoto.objects.get().reading_id}/photo/"
    for client in (Client(), phone):
        assert client.get(address)["Location"].startswith("/login/")
    assert logged_in("").get(address).status_code == 404


def test_a_picture_whose_file_is_gone_is_not_there(photo_folder):
    row = make.ReadingPhotoFactory()
    assert logged_in("desk").get(f"/readings/{row.reading_id}/photo/").status_code == 404


@pytest.mark.django_db(transaction=True)  # files go when it is certain that the record went
def test_the_desk_removes_a_picture_and_the_reading_stays(phone, photo_folder):
    send(phone, pictures.jpeg())
    reading = OdometerReading.objects.get(value=2100)
    desk = logged_in("desk")
    assert "The picture is removed." in desk.post(f"/readings/{reading.pk}/photo/drop/", follow=True).content.decode()
    assert files(photo_folder) == []
    assert OdometerReading.objects.filter(pk=reading.pk).exists()
    assert "has no picture" in desk.post(f"/readings/{reading.pk}/photo/drop/", follow=True).content.decode()
    assert logged_in("reviewer").post(f"/readings/{reading.pk}/photo/drop/").status_code == 403


def test_lists_cost_the_same_queries_with_2_pictures_as_with_22(trike, assert_flat_queries):
    desk = logged_in("desk")

    def grow(number: int = 20) -> None:
        for n in range(number):
            make.ReadingPhotoFactory(reading__trike=trike, reading__read_at=NOW - timedelta(days=30, minutes=n))

    grow(2)
    for path in ("/readings/", "/readings/?verdict=accepted"):
        assert_flat_queries(lambda path=path: desk.get(path), grow)


# The owner's own


def test_the_owner_takes_the_pictures_along(phone, trike):
    send(phone, pictures.jpeg())
    answer = phone.get("/o/my-data")
    assert answer["Content-Disposition"] == 'attachment; filename="my-trike-data.zip"'
    archive = zipfile.ZipFile(io.BytesIO(answer.content))
    row = ReadingPhoto.objects.get()
    name = f"pictures/2026-05-01-{row.reading_id}.jpg"
    assert archive.namelist() == ["my-trike-data.json", name]
    assert json.loads(archive.read("my-trike-data.json"))["pictures_of_the_display"][0]["file"] == name
    assert Image.open(io.BytesIO(archive.read(name))).size == (row.width, row.height)


def test_nobody_elses_pictures_are_in_it(phone, trike):
    make.ReadingPhotoFactory(reading__trike=trike)  # of an owner before
    make.ReadingPhotoFactory(owner=trike.ownerships.get().owner)  # of another trike
    assert phone.get("/o/my-data").json()["pictures_of_the_display"] == []


@pytest.mark.django_db(transaction=True)
def test_they_go_when_the_trike_gets_another_owner(phone, trike, photo_folder):
    send(phone, pictures.jpeg())
    pass_on(trike_id=trike.pk, owner_id=make.OwnerFactory().pk, since=NOW.date(), now=NOW)
    assert (ReadingPhoto.objects.count(), files(photo_folder)) == (0, [])
    assert OdometerReading.objects.filter(value=2100).exists()
