"""What owners see of a bulletin on their page, and the letter as the desk reads it before it goes out."""

import pytest

from tests.bulletins.conftest import NOW, danger, draft, on_a_trike, released, says
from tests.pages.conftest import logged_in
from tests.reminders.conftest import phone_of, standing_clock, token_for  # noqa: F401
from tracker.models import Bulletin, BulletinPart

pytestmark = pytest.mark.usefixtures("standing_clock")


@pytest.fixture
def part(shock):
    return on_a_trike(shock, "S1", batch="K-17")


@pytest.fixture
def phone(part):
    return phone_of(token_for(part.fitments.get().trike))


def page_of(phone) -> str:
    return phone.get("/o/").content.decode()


def test_a_hazard_stands_first_on_the_owners_page(phone, shock, writer, second):
    released(danger(shock), writer, second)
    page = page_of(phone)
    shown = page[page.index("Product safety recall") :]
    for words in (
        "Stop riding: it concerns your safety",
        "serial S1",
        "The shock can burst",
        "Stop riding your trike now.",
    ):
        assert words in shown
    assert "It costs you nothing, and takes about 40 minutes" in shown


def test_what_was_put_right_is_not_told_any_more(phone, part, shock, writer, second):
    from tracker.actions.bulletins import move_part

    row = released(danger(shock), writer, second)
    move_part(part_id=BulletinPart.objects.get(bulletin=row).pk, state="corrected", by=second, now=NOW)
    assert "Product safety recall" not in page_of(phone)


def test_the_owner_says_that_it_was_read_once(phone, part, shock, writer, second):
    row = released(danger(shock), writer, second)
    for _ in range(2):
        answer = phone.post("/o/read", {"key": phone.key, "bulletin": row.pk})
        assert (answer.status_code, answer["Location"]) == (303, "/o/?said=read")
    assert row.notices.get().read_at == NOW
    assert BulletinPart.objects.get(component=part).state == "notified"
    assert "You told us on 1 May 2026" in page_of(phone)


@pytest.mark.parametrize("typed", ["", "x", "0", "-1", "99999999999999999999999"])
def test_nonsense_is_refused_and_changes_nothing(typed, phone, shock, writer, second):
    row = released(danger(shock), writer, second)
    assert phone.post("/o/read", {"key": phone.key, "bulletin": typed}).status_code == 422
    assert row.notices.get().read_at is None


def test_a_forged_form_changes_nothing(phone, shock, writer, second):
    row = released(danger(shock), writer, second)
    phone.post("/o/read", {"key": "wrong", "bulletin": row.pk})
    assert row.notices.get().read_at is None


def test_others_notices_cannot_be_acknowledged(phone, shock, writer, second):
    other = on_a_trike(shock, "S2", batch="K-99")
    row = released(danger(shock, batches=["K-99"]), writer, second)
    assert phone.post("/o/read", {"key": phone.key, "bulletin": row.pk}).status_code == 422
    assert BulletinPart.objects.get(component=other).state == "affected"


def test_what_hurts_nobody_is_told_further_down_without_alarm(phone, shock, writer, second):
    released(says(shock), writer, second)
    page = page_of(phone)
    assert "Product safety recall" not in page
    assert "Air shock may leak" in page[page.index("About parts of your trike") :]


def test_a_longer_bulletin_costs_the_page_no_more_queries(phone, part, shock, writer, second, assert_flat_queries):
    def grow():
        for number in range(4):
            released(danger(shock, title=f"Another {number}"), writer, second)

    released(danger(shock), writer, second)
    assert_flat_queries(lambda: page_of(phone), grow)


def test_the_letter_is_read_before_it_goes_out_and_names_no_owner(part, shock, writer):
    row = draft(danger(shock, hazard="The shock bursts in rare situations."), writer)
    page = logged_in("reviewer").get(f"/bulletins/{row.pk}/letter/").content.decode()
    assert "PRODUCT SAFETY RECALL" in page
    assert "<mark>in rare situations</mark>" in page
    assert f"frame serial {part.fitments.get().trike}" in page
    assert part.fitments.get().trike.ownerships.get().owner.name not in page


def test_a_bulletin_that_touches_nothing_has_a_letter_all_the_same(shock, writer):
    row = draft(danger(shock, batches=["NONE"]), writer)
    assert "[frame serial]" in logged_in("desk").get(f"/bulletins/{row.pk}/letter/").content.decode()


def test_where_nobody_can_be_hurt_no_letter_goes_out(shock, writer):
    row = Bulletin.objects.get(pk=draft(says(shock), writer).pk)
    assert "no letter of its own" in logged_in("desk").get(f"/bulletins/{row.pk}/letter/").content.decode()
