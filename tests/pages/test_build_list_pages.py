"""Build lists at the desk: reviewer and admin write them, the others read them."""

import pytest

from services.positions import POSITIONS
from tests import factories as make
from tests.factories import NOW
from tracker.actions.build_lists import Line, add_build_list
from tracker.models import BuildList


@pytest.fixture
def chain(db):
    return make.PartTypeFactory(kind="chain", name="Nine-speed chain")


@pytest.fixture
def row(chain):
    return add_build_list(model="Fenwalk", lines=[Line("chain", chain.pk), Line("rack", None, False)], by=None, now=NOW)


def test_a_list_is_made_from_a_delivered_trike_by_its_plate(reviewer, workshop):
    answer = reviewer.post("/build-lists/new/", {"model": "", "trike": " lt-310 "})
    made = BuildList.objects.get()
    assert answer["Location"] == f"/build-lists/{made.pk}/change/"
    assert {line.position for line in made.lines.all()} == {"frame", "chain", "rear-shock"}


def test_a_list_begins_empty_and_the_models_without_one_are_offered(reviewer, workshop):
    page = reviewer.get("/build-lists/").content.decode()
    assert "/build-lists/new/?model=Fenrunner" in page
    assert 'value="Fenrunner"' in reviewer.get("/build-lists/new/?model=Fenrunner").content.decode()
    reviewer.post("/build-lists/new/", {"model": "Fenrunner", "trike": ""})
    assert BuildList.objects.get().lines.count() == 0


@pytest.mark.parametrize(
    ("values", "field", "said"),
    [
        ({"model": "", "trike": ""}, "model", "belongs to a model"),
        ({"model": "FENWALK", "trike": ""}, "model", "has a build list"),
        ({"model": "Other", "trike": "nowhere"}, "trike", "No delivered trike"),
        ({"model": "x" * 81, "trike": ""}, "model", "at most 80"),
    ],
)
def test_what_is_refused_stands_beside_the_field_and_the_rest_is_kept(reviewer, row, values, field, said):
    answer = reviewer.post("/build-lists/new/", values)
    assert answer.status_code in {409, 422}
    assert said in str(answer.context["form"].errors[field])
    assert values["trike"] in answer.content.decode()


def test_lines_are_changed_position_by_position(admin, row, chain):
    page = admin.get(f"/build-lists/{row.pk}/change/")
    assert len(page.context["form"].rows()) == len(POSITIONS)
    values = {"version": 1, "chain_wanted": "optional", "chain_type": "", "seat_wanted": "required", "rack_type": ""}
    assert admin.post(f"/build-lists/{row.pk}/change/", values)["Location"] == f"/build-lists/{row.pk}/"
    told = [(line.position, line.part_type_id, line.required) for line in row.lines.all()]
    assert told == [("chain", None, False), ("seat", None, True)]


def test_two_people_changing_one_list_do_not_overwrite_each_other(admin, row):
    values = {"version": 1, "seat_wanted": "required"}
    admin.post(f"/build-lists/{row.pk}/change/", values)
    late = admin.post(f"/build-lists/{row.pk}/change/", {"version": 1, "rack_wanted": "required"})
    assert late.status_code == 409
    assert "Somebody else changed" in late.content.decode()
    assert '<option value="required" selected>' in late.content.decode()
    assert [line.position for line in row.lines.all()] == ["seat"]


def test_a_part_type_of_another_kind_is_no_choice(admin, row):
    battery = make.PartTypeFactory(kind="battery")
    answer = admin.post(
        f"/build-lists/{row.pk}/change/", {"version": 1, "chain_wanted": "required", "chain_type": battery.pk}
    )
    assert answer.status_code == 422
    assert answer.context["form"].errors["chain_type"]


def test_others_read_the_list(desk, row):
    page = desk.get(f"/build-lists/{row.pk}/").content.decode()
    assert "Nine-speed chain" in page
    assert "any that fits" in page
    assert f"/build-lists/{row.pk}/change/" not in page


@pytest.mark.parametrize("path", ["new/", "{}/change/"])
def test_only_reviewer_and_admin_write(desk, mechanic, row, path):
    for client in (desk, mechanic):
        assert client.post(f"/build-lists/{path.format(row.pk)}", {"model": "X"}).status_code in {403, 404}
    assert BuildList.objects.count() == 1


def test_the_list_of_lists_costs_the_same_queries_however_long(desk, assert_flat_queries, db):
    def grow(n: int) -> None:
        for _ in range(n):
            make.BuildListLineFactory(part_type=make.PartTypeFactory())

    grow(2)
    assert_flat_queries(lambda: desk.get("/build-lists/"), lambda: grow(20))
