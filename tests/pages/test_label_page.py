"""The label's page: made by a button, shown in its sizes, replaced when it is lost."""

import pytest

from services.plate_label import SIZES
from tracker.models import Trike

CODE = "ABCDEFGHIJKLMNOP2345"


@pytest.fixture
def trike(workshop) -> Trike:
    return workshop.trike


@pytest.fixture
def labelled(trike) -> Trike:
    trike.label_code = CODE
    trike.save()
    return trike


def test_looking_makes_no_label_and_a_button_does(desk, trike):
    assert b"No label yet" in desk.get(f"/trikes/{trike.pk}/label/").content
    trike.refresh_from_db()
    assert trike.label_code is None
    assert desk.post(f"/trikes/{trike.pk}/label/", {"version": trike.version}).status_code == 302
    trike.refresh_from_db()
    assert trike.label_code


def test_the_page_shows_every_size_and_what_the_label_opens(desk, labelled):
    page = desk.get(f"/trikes/{labelled.pk}/label/?size=50x25").content.decode()
    assert all(size.title in page for size in SIZES.values())
    assert f"/trikes/{labelled.pk}/label.svg?size=50x25" in page
    assert f"/t/{CODE}/" in page


@pytest.mark.parametrize("size", SIZES)
def test_a_label_is_fetched_as_svg_and_pdf(desk, labelled, size):
    svg = desk.get(f"/trikes/{labelled.pk}/label.svg?size={size}")
    assert svg["Content-Type"] == "image/svg+xml"
    assert b"LT-310" in svg.content
    assert b"F26-1040" not in svg.content
    pdf = desk.get(f"/trikes/{labelled.pk}/label.pdf?size={size}")
    assert pdf["Content-Type"] == "application/pdf"
    assert pdf.content.startswith(b"%PDF")


@pytest.mark.parametrize("kind", ["svg", "pdf"])
def test_there_is_no_file_of_an_unknown_size_or_without_a_label(desk, trike, labelled, kind):
    assert desk.get(f"/trikes/{labelled.pk}/label.{kind}?size=1x1").status_code == 404
    Trike.objects.update(label_code=None)
    assert desk.get(f"/trikes/{labelled.pk}/label.{kind}").status_code == 404


def test_a_lost_label_is_replaced_once(desk, labelled):
    values = {"version": labelled.version, "replace": "yes"}
    assert desk.post(f"/trikes/{labelled.pk}/label/", values).status_code == 302
    labelled.refresh_from_db()
    assert labelled.label_code != CODE
    late = desk.post(f"/trikes/{labelled.pk}/label/", values)
    assert late.status_code == 409
    assert "Somebody else changed this trike" in late.content.decode()


def test_a_reviewer_looks_and_makes_nothing(reviewer, trike):
    page = reviewer.get(f"/trikes/{trike.pk}/label/").content.decode()
    assert "Make the label" not in page
    assert reviewer.post(f"/trikes/{trike.pk}/label/", {"version": 1}).status_code == 403
