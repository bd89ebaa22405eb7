"""Letters that came back, as the desk sees them."""

import pytest

from tests import factories as make


@pytest.fixture
def returned(workshop):
    workshop.owner.email_dead_at = make.NOW
    workshop.owner.save()
    return make.OutboxMessageFactory(
        trike=workshop.trike, owner=workshop.owner, state="sent", sent_at=make.NOW, bounced_at=make.NOW,
        bounce_note="does not arrive: 5.1.1 No such user <b>",
    )  # fmt: skip


def test_today_names_whom_mail_does_not_reach(desk, returned):
    page = desk.get("/").content.decode()
    assert "Letters that came back" in page
    assert "No such user &lt;b&gt;" in page


def test_today_forgets_it_once_the_address_is_written_anew(desk, returned):
    returned.owner.email_dead_at = None
    returned.owner.save()
    assert "Letters that came back" not in desk.get("/").content.decode()


def test_the_message_says_that_it_came_back_and_what_to_do(desk, returned):
    page = desk.get(f"/messages/{returned.pk}/").content.decode()
    assert "does not arrive: 5.1.1" in page
    assert f"/owners/{returned.owner_id}/change/" in page


def test_the_list_shows_what_came_back_and_counts_it_once(desk, returned):
    make.OutboxMessageFactory(trike=None)
    answer = desk.get("/messages/?state=back")
    assert [row.pk for row in answer.context["page"]] == [returned.pk]
    assert {code: count for code, _, count in answer.context["tabs"]}[""] == 2
