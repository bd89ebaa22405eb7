"""One field finds everything, by each way a person may type it."""

from datetime import UTC, datetime

import pytest

from tests import factories as make
from tracker.queries.search import find, the_one

pytestmark = pytest.mark.django_db


def kinds(text: str) -> list[tuple[str, str]]:
    return [(hit.kind, hit.title) for hit in find(text)]


def test_a_frame_serial_finds_its_trike_once_and_not_its_frame_too(workshop):
    assert kinds("f26-1040") == [("trike", "F26-1040")]


def test_a_plate_finds_its_trike(workshop):
    assert kinds(" lt-310 ") == [("trike", "F26-1040")]


def test_a_component_serial_says_where_it_sits(workshop):
    (hit,) = find("K24000")
    assert (hit.kind, hit.exact) == ("component", True)
    assert "at chain of F26-1040" in hit.words.lower().replace("f26", "F26")


def test_a_component_that_moved_says_where_it_was_and_until_when(workshop):
    old = make.ComponentFactory(serial="K11111", state="scrapped")
    make.FitmentFactory(
        component=old, trike=workshop.trike, position="chain",
        fitted_at=datetime(2024, 1, 5, tzinfo=UTC), removed_at=datetime(2025, 3, 3, 12, tzinfo=UTC),
    )  # fmt: skip
    (hit,) = find("K11111")
    assert "scrapped" in hit.words
    assert "F26-1040 until 3 Mar 2025" in hit.words


@pytest.mark.parametrize("text", ["Zoë Ångström", "zoe angstrom", "ZOE", "ångström zoë", "angstr"])
def test_an_owner_is_found_whatever_the_accents_case_and_order(workshop, text):
    assert ("owner", "Zoë Ångström") in kinds(text)


@pytest.mark.parametrize(
    "text",
    ["020 7946 0312", "+44 20 7946 0312", "02079460312", "0044 20 7946 0312", "7946 0312", "(020) 7946-0312"],
)
def test_a_phone_number_is_found_in_any_notation(workshop, text):
    assert ("owner", "Zoë Ångström") in kinds(text)


def test_a_name_with_digits_in_it_is_no_phone_number(workshop):
    assert ("owner", "Zoë Ångström") not in kinds("C7946 0312")


def test_a_job_number_finds_its_card(workshop):
    assert kinds("j25-00042") == [("job", "J25-00042")]


def test_a_batch_number_finds_its_components(workshop):
    make.ComponentFactory.create_batch(3, batch="B-2025-03")
    assert ("batch", "Batch B-2025-03") in kinds("b-2025-03")


def test_exact_hits_come_first_and_a_single_one_is_the_one(workshop):
    make.ComponentFactory(serial="K24000-2")
    hits = find("K24000")
    assert [hit.title for hit in hits] == ["K24000", "K24000-2"]
    assert the_one(hits).title == "K24000"


def test_two_exact_hits_leave_the_choice_to_the_person(workshop):
    make.TrikeFactory(plate="K24000")
    assert the_one(find("K24000")) is None


@pytest.mark.parametrize("text", ["", "x", " ", "a\x00b", "\u202eF26", "%", "_" * 500])
def test_nonsense_finds_nothing_and_breaks_nothing(workshop, text):
    assert find(text) == []


def test_wildcards_are_taken_as_they_stand(workshop):
    assert find("F26%") == []


def test_the_number_of_queries_does_not_grow_with_what_is_found(workshop, assert_flat_queries):
    def grow(count: int = 20) -> None:
        for _ in range(count):
            trike = make.TrikeFactory(plate=None)
            type(trike).objects.filter(pk=trike.pk).update(frame_serial=f"F26-{trike.pk}")
            make.OwnershipFactory(trike=trike, owner__name=f"F26 {trike.pk}", owner__search_name=f"f26 {trike.pk}")
            part = make.ComponentFactory(serial=f"C-F26-{trike.pk}", state="fitted")
            make.FitmentFactory(component=part, trike=trike)
            make.JobCardFactory(trike=trike, number=f"F26-J{trike.pk}")

    grow(2)
    assert_flat_queries(lambda: find("F26", limit=100), grow)


def test_the_page_goes_straight_to_an_exact_hit(workshop, desk):
    answer = desk.get("/search/", {"q": "k24000"})
    assert answer["Location"] == f"/components/{workshop.chain.pk}/"


def test_the_page_lists_what_is_not_exact_by_kind(workshop, desk):
    page = desk.get("/search/", {"q": "240"}).content.decode()
    assert "K24000" in page
    assert "S24037" in page


def test_the_page_shows_typed_markup_as_text(workshop, desk):
    page = desk.get("/search/", {"q": "<script>alert(1)</script>"}).content.decode()
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page
