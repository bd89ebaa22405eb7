"""One field finds everything, by each way a person may type it."""

from datetime import UTC, date, datetime

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


def test_a_component_that_was_in_many_places_tells_the_last_three(workshop):
    for year in range(2019, 2024):
        make.FitmentFactory(
            component=workshop.shock, trike=make.TrikeFactory(), position="rear-shock",
            fitted_at=datetime(year, 1, 5, tzinfo=UTC), removed_at=datetime(year, 6, 5, tzinfo=UTC),
        )  # fmt: skip
    (hit,) = find("S24037")
    assert hit.words.count(" until ") == 2
    assert hit.words.endswith("; and elsewhere before")


@pytest.mark.parametrize("text", ["Zoë Ångström", "zoe angstrom", "ZOE", "ångström zoë", "angstr"])
def test_an_owner_is_found_whatever_the_accents_case_and_order(workshop, text):
    assert ("owner", "Zoë Ångström") in kinds(text)


@pytest.mark.parametrize(
    "text",
    ["020 7946 0312", "+44 20 7946 0312", "02079460312", "0044 20 7946 0312", "7946 0312", "(020) 7946-0312"],
)
def test_a_phone_number_is_found_in_any_notation(workshop, text):
    assert ("owner", "Zoë Ångström") in kinds(text)


@pytest.mark.parametrize("text", ["0312", "46 0312", "+44 (0)20 7946 0312", "020\u20117946\u20110312"])
def test_the_last_digits_of_a_phone_number_are_enough_and_dashes_are_dashes(workshop, text):
    assert ("owner", "Zoë Ångström") in kinds(text)


def test_a_number_from_another_country_is_found_as_it_is_written_there(workshop):
    make.OwnerFactory(name="Jan Fen", search_name="jan fen", phone_e164="+4930901820")  # 030 901820 in its own country
    assert kinds("030 901820") == [("owner", "Jan Fen")]


def test_three_digits_are_no_phone_number(workshop):
    assert kinds("312") == []


def test_a_name_with_digits_in_it_is_no_phone_number(workshop):
    assert ("owner", "Zoë Ångström") not in kinds("C7946 0312")


def test_a_job_number_finds_its_card(workshop):
    assert kinds("j25-00042") == [("job", "J25-00042")]


def test_a_batch_number_finds_its_components(workshop):
    make.ComponentFactory.create_batch(3, batch="B-2025-03")
    assert ("batch", "Batch B-2025-03") in kinds("b-2025-03")


def test_the_whole_number_of_a_batch_leads_to_its_components(workshop, desk):
    make.ComponentFactory.create_batch(2, serial=None, serial_as_typed="", batch="b-2025-03")
    assert desk.get("/search/", {"q": "B-2025-03"})["Location"] == "/components/?batch=B-2025-03"


def test_a_model_finds_its_trikes(workshop):
    assert kinds("fenrun") == [("trike", "F26-1040")]


def test_two_characters_find_only_what_begins_with_them(workshop):
    assert kinds("k2") == [("component", "K24000")]
    assert kinds("24") == []


def test_a_short_word_beside_another_begins_a_word_of_the_name(workshop):
    assert ("owner", "Zoë Ångström") in kinds("zoe an")
    assert ("owner", "Zoë Ångström") not in kinds("zoe st")


def test_the_end_of_a_job_number_is_enough(workshop):
    assert ("job", "J25-00042") in kinds("00042")


@pytest.mark.parametrize("text", ["https://desk.example.org/t/7KQ2M9XW4B/", "http://127.0.0.1:8000/T/7kq2m9xw4b"])
def test_a_scanned_label_is_its_trike_and_nothing_else(workshop, text):
    type(workshop.trike).objects.update(label_code="7KQ2M9XW4B")
    (hit,) = find(text)
    assert (hit.kind, hit.id, hit.exact) == ("trike", workshop.trike.pk, True)


def test_a_label_of_nobody_finds_nothing(workshop):
    assert find("https://desk.example.org/t/NOBODYS/") == []


def test_a_retired_trike_says_so(workshop):
    make.TrikeFactory(frame_serial="F19-0001", plate=None, state="retired", retired_on=date(2026, 2, 1))
    (hit,) = find("F19-0001")
    assert hit.words == "Fenrunner, retired on 1 Feb 2026"


@pytest.fixture
def stolen(workshop):
    type(workshop.trike).objects.filter(pk=workshop.trike.pk).update(stolen_on=date(2026, 3, 3))
    return workshop


@pytest.mark.parametrize(
    ("text", "mark"),
    [
        ("F26-1040", "STOLEN since 3 Mar 2026"),
        ("K24000", "on F26-1040, STOLEN since 3 Mar 2026"),
        ("zoe", "F26-1040 STOLEN since 3 Mar 2026"),
        ("J25-00042", "STOLEN since 3 Mar 2026"),
    ],
)
def test_whatever_leads_to_a_stolen_trike_bears_its_mark(stolen, text, mark):
    assert [hit.mark for hit in find(text)] == [mark]


def test_a_part_that_was_taken_off_a_trike_before_it_was_stolen_bears_no_mark(stolen):
    old = make.ComponentFactory(serial="K11111", state="in_stock")
    make.FitmentFactory(
        component=old, trike=stolen.trike, position="chain",
        fitted_at=datetime(2024, 1, 5, tzinfo=UTC), removed_at=datetime(2025, 3, 3, tzinfo=UTC),
    )  # fmt: skip
    assert [hit.mark for hit in find("K11111")] == [""]


def test_what_is_stolen_stands_above_the_others(stolen, desk):
    make.TrikeFactory(frame_serial="F26-1039", plate=None)
    assert [hit.title for hit in find("F26-10")] == ["F26-1040", "F26-1039"]
    page = desk.get("/search/", {"q": "F26-10"}).content.decode()
    assert page.index("Reported stolen") < page.index("STOLEN since 3 Mar 2026") < page.index("F26-1039")


def test_a_scanned_part_of_a_stolen_trike_opens_with_a_warning(stolen, desk):
    page = desk.get("/search/", {"q": "k24000"}, follow=True).content.decode()
    assert "K24000: on F26-1040, STOLEN since 3 Mar 2026." in page


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


def test_a_serial_that_is_not_known_may_be_taken_into_stock_from_where_it_was_not_found(workshop, desk):
    page = desk.get("/search/", {"q": "zz-99"}).content.decode()
    assert "Nothing found for “zz-99”" in page
    assert 'href="/components/new/?serial=ZZ-99"' in page
    assert "last four digits" in page


def test_words_are_no_serial_but_may_be_a_new_owner(workshop, desk):
    page = desk.get("/search/", {"q": "Ada Brandt"}).content.decode()
    assert "into stock" not in page
    assert 'href="/owners/new/?name=Ada%20Brandt"' in page


def test_who_only_looks_is_offered_nothing_to_add(workshop, reviewer):
    page = reviewer.get("/search/", {"q": "zz-99"}).content.decode()
    assert "What the search knows" in page
    assert "into stock" not in page


def test_one_character_is_too_little(workshop, desk):
    page = desk.get("/search/", {"q": "k"}).content.decode()
    assert "Two characters at least" in page
    assert "into stock" not in page
