"""Build lists: made by hand or from delivered trikes, changed line by line, refused where they cannot be."""

import pytest

from services.errors import Refusal
from services.positions import WrongPosition
from tests import factories as make
from tests.factories import NOW
from tracker.actions.build_lists import (
    Line,
    ModelHasAList,
    add_build_list,
    build_list_from_trikes,
    change_build_list,
)
from tracker.actions.refusals import Invalid, NotEnough, StaleVersion
from tracker.models import BuildList, BuildListLine
from tracker.queries.build_lists import (
    build_lists,
    delivered_of_model,
    delivered_trike,
    list_of_model,
    models_without_a_list,
    progress,
)

pytestmark = pytest.mark.django_db


def carrying(*parts: tuple[str, object], **values):
    trike = make.TrikeFactory(**values)
    for position, part_type in parts:
        component = make.ComponentFactory(part_type=part_type, state="fitted")
        make.FitmentFactory(trike=trike, component=component, position=position)
    return trike


def told(row: BuildList) -> list[tuple[str, int | None, bool]]:
    return [(line.position, line.part_type_id, line.required) for line in row.lines.all()]


@pytest.fixture
def chain():
    return make.PartTypeFactory(kind="chain")


def test_a_list_keeps_its_lines_in_the_order_of_the_positions(chain):
    lines = [Line("rack", None, False), Line("chain", chain.pk)]
    row = add_build_list(model="  Fenwalk   26 ", lines=lines, by=None, now=NOW)
    assert row.model == "Fenwalk 26"
    assert told(row) == [("chain", chain.pk, True), ("rack", None, False)]


@pytest.mark.parametrize("name", ["Fenwalk 26", "FENWALK 26", " fenwalk  26"])
def test_a_model_has_one_list_however_it_is_written(name):
    add_build_list(model="Fenwalk 26", by=None, now=NOW)
    with pytest.raises(ModelHasAList):
        add_build_list(model=name, by=None, now=NOW)


def test_a_list_without_a_model_is_refused():
    with pytest.raises(NotEnough) as refusal:
        add_build_list(model="   ", by=None, now=NOW)
    assert refusal.value.field == "model"


def test_lines_that_cannot_be_are_refused_and_nothing_is_kept(chain):
    battery = make.PartTypeFactory(kind="battery")
    cases = [
        ([Line("roof")], WrongPosition), ([Line("chain", battery.pk)], WrongPosition),
        ([Line("chain"), Line("chain")], Invalid), ([Line("chain", 987_654)], Invalid),
    ]  # fmt: skip
    for lines, kind in cases:
        with pytest.raises(kind):
            add_build_list(model="Fenwalk", lines=lines, by=None, now=NOW)
    assert not BuildList.objects.exists()


def test_changing_a_list_replaces_its_lines_and_needs_the_version_it_was_read_at(chain):
    row = add_build_list(model="Fenwalk", lines=[Line("chain", chain.pk)], by=None, now=NOW)
    changed = change_build_list(build_list_id=row.pk, version=1, lines=[Line("seat")], by=None, now=NOW)
    assert (told(changed), changed.version) == ([("seat", None, True)], 2)
    with pytest.raises(StaleVersion):
        change_build_list(build_list_id=row.pk, version=1, lines=[], by=None, now=NOW)
    with pytest.raises(Refusal):
        change_build_list(build_list_id=row.pk, version=2, lines=[Line("roof")], by=None, now=NOW)
    assert BuildListLine.objects.count() == 1


def test_of_one_delivered_trike_everything_it_carries_stands_on_the_list(chain):
    rack = make.PartTypeFactory(kind="rack")
    trike = carrying(("chain", chain), ("rack", rack), model="Fenwalk")
    row = build_list_from_trikes(trike_ids=[trike.pk], by=None, now=NOW)
    assert row.model == "Fenwalk"
    assert told(row) == [("chain", chain.pk, True), ("rack", rack.pk, False)]  # a rack's serial is not expected


def test_of_several_trikes_what_most_carry_stands_there_with_the_usual_part(chain):
    other, rack, seat = (make.PartTypeFactory(kind=kind) for kind in ("chain", "rack", "seat_mesh"))
    ids = [
        carrying(("chain", part), ("seat", seat if n else make.PartTypeFactory(kind="seat_mesh")), *extra, model="F").pk
        for n, (part, extra) in enumerate([(chain, [("rack", rack)]), (other, []), (chain, []), (other, [])])
    ]  # fmt: skip
    row = build_list_from_trikes(trike_ids=ids, model="Fenwalk", by=None, now=NOW)
    assert told(row) == [("chain", None, True), ("seat", seat.pk, True)]  # two chains alike often; three seats of four


def test_what_half_of_them_carry_is_on_the_list_but_not_required(chain):
    display = make.PartTypeFactory(kind="display")
    ids = [carrying(("chain", chain), ("display", display)).pk, carrying(("chain", chain)).pk]
    row = build_list_from_trikes(trike_ids=ids, model="Fenwalk", by=None, now=NOW)
    assert told(row) == [("display", display.pk, False), ("chain", chain.pk, True)]


def test_a_list_is_not_taken_from_a_trike_in_build_or_one_that_carries_nothing():
    for values in ({"state": "in_build", "delivered_on": None}, {}):
        with pytest.raises(NotEnough):
            build_list_from_trikes(trike_ids=[make.TrikeFactory(**values).pk], by=None, now=NOW)


def test_models_and_trikes_are_found_for_a_list():
    trike = make.TrikeFactory(model="Fenwalk", plate="LT-77")
    make.TrikeFactory(model="Dyke", state="in_build", delivered_on=None)
    make.TrikeFactory(model="")
    assert models_without_a_list() == ["Fenwalk"]
    assert delivered_of_model("fenwalk") == [trike.pk]
    assert delivered_trike(" lt-77 ") == delivered_trike(trike.frame_serial) == trike
    assert delivered_trike("\u200b") is None
    add_build_list(model="FENWALK", by=None, now=NOW)
    assert models_without_a_list() == []
    assert list_of_model(" fenwalk ").model == "FENWALK"
    assert list_of_model("") is None


def test_lists_cost_the_same_queries_however_many_there_are(assert_flat_queries):
    def grow(n: int) -> None:
        for _ in range(n):
            make.BuildListLineFactory(part_type=make.PartTypeFactory())

    grow(2)
    assert_flat_queries(lambda: [list(row.lines.all()) for row in build_lists()], lambda: grow(20))


def test_progress_names_required_positions_first_and_what_is_missing(chain):
    trike = make.TrikeFactory(model="Fenwalk", state="in_build", delivered_on=None)
    add_build_list(
        model="Fenwalk", lines=[Line("rack", None, False), Line("chain", chain.pk), Line("seat")], by=None, now=NOW
    )
    found = progress(trike)
    assert [place.code for place in found.places[:3]] == ["chain", "seat", "rack"]
    assert [place.code for place in found.missing] == ["chain", "seat"]
    assert (found.demanded, found.fitted, found.next_after()) == (2, 0, "chain")
    assert [found.next_after(code) for code in ("chain", "seat", "rack")] == ["seat", "chain", "chain"]


def test_after_the_required_positions_the_optional_ones_stand_ready_and_then_none(chain):
    trike = carrying(("chain", chain), model="Fenwalk", state="in_build", delivered_on=None)
    add_build_list(model="Fenwalk", lines=[Line("rack", None, False), Line("chain")], by=None, now=NOW)
    assert progress(trike).next_after("chain") == "rack"
    make.FitmentFactory(trike=trike, component__part_type__kind="rack", position="rack")
    found = progress(trike)
    assert found.next_after("rack") == ""
    assert not found.places[0].differs
    assert [place.code for place in found.listed] == ["chain", "rack"]
    assert "battery" in [place.code for place in found.others]
