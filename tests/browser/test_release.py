"""Test ride, release, photos and the owner's summary in a real browser: with a mouse, by keyboard alone, on tablet and phone."""

from pathlib import Path

import pytest
from django.utils import timezone

from tests import factories as make
from tests import pictures
from tests.browser.looking import look
from tests.browser.test_accessibility import faults
from tests.mail_server import free_port, listening, point_settings_at
from tests.releasing import card_on_the_bench, done, part_of, swapped
from tracker.models import JobCard, LogEntry, Owner, Photo
from tracker.tasks.outbox import dispatch_outbox

pytestmark = pytest.mark.usefixtures("photo_folder")

NARROW = (820, 390)


@pytest.fixture
def card(mechanic) -> JobCard:
    """A card whose left brake was checked and measured and whose chain is to be swapped; its owner counts in miles."""
    owner = make.OwnerFactory(name="Zoë Ångström", distance_unit="mi", pressure_unit="psi", email="zoe@example.org")
    now = timezone.now()
    card = card_on_the_bench(owner=owner, opened_by=mechanic, opened_at=now, worked_at=now, complaint="It squeals.")
    done(card, "brake-left", "brakes_check")
    make.MeasurementFactory(
        card=card,
        component=part_of(card, "brake-left"),
        quantity="pad_mm",
        value=2.1,
        level="ok",
        words="2.1 mm - good.",
    )
    swapped(card, "chain", "chain")
    return card


def photo_file(tmp_path: Path, name: str = "rotor.jpg") -> Path:
    path = tmp_path / name
    path.write_bytes(pictures.from_a_phone())
    return path


def clean(page, name: str) -> None:
    """Keep pictures at every width; nothing serious for axe on tablet and phone."""
    look(page, name)
    for width in NARROW:
        page.set_viewport_size({"width": width, "height": 900})
        assert faults(page) == [], (name, width)
    page.set_viewport_size({"width": 1280, "height": 900})


def test_a_brake_task_demands_the_release_and_the_card_is_signed_after_it(desk, card, tmp_path):
    desk.goto(f"/jobs/{card.pk}/sign/")
    assert "Test ride and release" in desk.inner_text("main")
    sign(desk)
    assert "demands" in desk.inner_text("main")
    assert JobCard.objects.get().state == "draft"
    desk.goto(f"/jobs/{card.pk}/release/")
    assert "Brake check (left brake)" in desk.inner_text("main")
    clean(desk, "release-open")
    answer_all(desk)
    desk.click("#id_brakes_stop_line label:has-text('Did not pass')")
    desk.fill("#id_brakes_stop_note", "pulls to the left")
    desk.click("button:has-text('Release as Mika')")
    assert "keep the trike here" in desk.inner_text("#id_brakes_stop_line")
    assert desk.input_value("#id_brakes_stop_note") == "pulls to the left"
    assert desk.is_checked("#id_brakes_hold_0")
    clean(desk, "release-failed")
    desk.click("#id_brakes_stop_line label:has-text('Passed')")
    desk.click("button:has-text('Release as Mika')")
    desk.wait_for_url("**/sign/")
    desk.goto(f"/jobs/{card.pk}/release/")
    clean(desk, "release-signed")
    desk.goto(f"/jobs/{card.pk}/sign/")
    sign(desk)
    assert JobCard.objects.get().state == "signed"
    assert len(LogEntry.objects.get(kind="job_card_signed").body["release"]["checks"]) == 6
    desk.goto(f"/jobs/{card.pk}/")
    clean(desk, "release-card-signed")


def answer_all(desk) -> None:
    for line in desk.locator("fieldset.check").all():
        line.locator("label:has-text('Passed')").click()


def sign(desk) -> None:
    if not desk.is_visible("input[name=password]"):
        desk.click("summary:has-text('assword')")
    desk.fill("input[name=password]", "spoke-and-hub-9")
    with desk.expect_navigation():
        desk.press("input[name=password]", "Enter")


def test_the_checklist_is_answered_and_signed_by_keyboard_alone(desk, card):
    desk.goto(f"/jobs/{card.pk}/release/")
    desk.focus("#main")
    for _ in range(60):
        desk.keyboard.press("Tab")
        here = desk.evaluate("[document.activeElement.type, document.activeElement.textContent]")
        if here[0] == "radio":
            desk.keyboard.press("Space")
        elif here[0] == "submit" and "Release as" in here[1]:
            desk.keyboard.press("Enter")
            break
    desk.wait_for_url("**/sign/")
    assert JobCard.objects.get().released_by.username == "mechanic"


def test_work_added_after_the_release_is_said_in_words(desk, card):
    desk.goto(f"/jobs/{card.pk}/release/")
    answer_all(desk)
    desk.click("button:has-text('Release as Mika')")
    desk.wait_for_url("**/sign/")
    done(card, "frame", "toe_in_check")
    desk.goto(f"/jobs/{card.pk}/release/")
    assert "Toe-in" in desk.inner_text(".note.ask")
    clean(desk, "release-outdated")


def test_a_photo_is_uploaded_shown_and_removed(desk, card, tmp_path):
    desk.goto(f"/jobs/{card.pk}/photos/")
    desk.set_input_files("#id_file", photo_file(tmp_path))
    desk.fill("#id_caption", "Left rotor, scored near the rim")
    desk.select_option("#id_component_id", str(part_of(card, "brake-left").pk))
    desk.click("button:has-text('Add the photo')")
    desk.wait_for_selector("text=The photo is on the card")
    assert desk.evaluate("Promise.all([...document.images].map((image) => image.decode())).then(() => true)")
    photo = Photo.objects.get()
    assert (photo.caption, photo.width, photo.height) == ("Left rotor, scored near the rim", 48, 64)
    clean(desk, "photos")
    desk.click("button:has-text('Remove')")
    desk.wait_for_selector("text=No photo yet")


def test_a_file_that_is_no_photo_is_refused_beside_its_field(desk, card, tmp_path):
    desk.goto(f"/jobs/{card.pk}/photos/")
    wrong = tmp_path / "letter.jpg"
    wrong.write_text("Dear workshop,")
    desk.set_input_files("#id_camera", wrong)
    desk.fill("#id_caption", "kept words")
    desk.click("button:has-text('Add the photo')")
    desk.wait_for_selector("#id_camera_error")
    assert desk.input_value("#id_caption") == "kept words"
    clean(desk, "photos-refused")


@pytest.fixture
def mail(settings):
    point_settings_at(settings, free_port())
    with listening(settings.EMAIL_PORT) as server:
        yield server


def test_the_summary_is_put_into_words_and_mailed_once(desk, card, mail):
    desk.goto(f"/jobs/{card.pk}/summary/")
    assert "1,305 mi" in desk.input_value("#id_summary")
    clean(desk, "summary-draft")
    desk.goto(f"/jobs/{card.pk}/release/")
    answer_all(desk)
    desk.click("button:has-text('Release as Mika')")
    desk.wait_for_url("**/sign/")
    sign(desk)
    desk.goto(f"/jobs/{card.pk}/summary/")
    desk.click("button:has-text('Mail it to the owner')")
    desk.wait_for_selector("text=The summary is in the outbox")
    clean(desk, "summary-signed")
    while dispatch_outbox():
        pass
    (letter,) = mail.mails_to(Owner.objects.get().email)
    text = letter.get_body(("plain",)).get_content()
    assert "We checked and set the brakes (left brake)." in text
    assert "Try the brakes standing" in text
    desk.set_content(letter.get_body(("html",)).get_content())
    look(desk, "summary-mail")
