"""The drawing of a trike: every part reachable in order and told by words, letter and shape; the list says the same."""

import re
from datetime import date
from itertools import pairwise

import pytest

from services.part_state import TITLES, PartState
from services.positions import POSITIONS
from tests import factories as make
from tests.pages.conftest import carry, due
from tracker.pages.drawing import MARGIN, SHEETS, spread, trike_drawing
from tracker.pages.drawing_marks import legend
from tracker.pages.drawing_shapes import OUTLINES
from tracker.queries.trike_parts import FittedPart, Place

TODAY = date(2026, 5, 1)
WIDE, NARROW = SHEETS


def place(code: str, state: PartState, *, fitted: bool = True) -> Place:
    part = FittedPart(None, None, state) if fitted else None
    return Place(code, POSITIONS[code].title, state, part)


def everywhere(state: PartState) -> list[Place]:
    return [place(code, state) for code in POSITIONS]


def drawing(page: str, sheet: str = "wide") -> str:
    return re.search(rf'<svg class="plan {sheet}".*?</svg>\s*(?=<svg class="plan|<figcaption)', page, re.DOTALL)[0]


def links(svg: str) -> list[tuple[str, str]]:
    return re.findall(r'<a class="call \w+" href="#part-([\w-]+)" aria-label="([^"]+)"', svg)


def test_every_position_of_the_trade_has_its_place_in_the_drawing():
    assert set(OUTLINES) == set(POSITIONS)


def test_a_due_part_is_named_with_its_day_and_leads_to_its_row(workshop, desk):
    due(workshop.trike, workshop.chain, due_on=date(2026, 5, 9), early_on=date(2026, 4, 20))
    page = desk.get(f"/trikes/{workshop.trike.pk}/").content.decode()
    assert ("chain", "Chain: due 9 May") in links(drawing(page))
    assert 'id="part-chain"' in page


def test_every_fitted_part_is_a_link_in_both_drawings_and_in_the_same_order(workshop, desk):
    page = desk.get(f"/trikes/{workshop.trike.pk}/").content.decode()
    wide, narrow = links(drawing(page, "wide")), links(drawing(page, "narrow"))
    assert [code for code, _ in wide] == ["frame", "chain", "rear-shock"]
    assert wide == narrow


def test_the_keyboard_walks_down_the_left_side_and_then_down_the_right():
    codes = [code for code, _ in links(trike_drawing(everywhere(PartState("fine")), TODAY).split("</svg>")[0])]
    assert len(codes) == len(POSITIONS)
    sides = [OUTLINES[code].side for code in codes]
    assert sides == sorted(sides)
    for side in ("left", "right"):
        heights = [OUTLINES[code].at[1] for code in codes if OUTLINES[code].side == side]
        assert heights == sorted(heights)


@pytest.mark.parametrize("code", [code for code in TITLES if code != "empty"])
def test_a_state_is_told_by_words_by_the_shape_of_its_mark_and_by_a_class_for_its_shade(code):
    state = PartState(code, TODAY, "watch")
    svg = trike_drawing([place(other, PartState("empty"), fitted=False) for other in POSITIONS if other != "chain"]
                        + [place("chain", state, fitted=code != "unrecorded")], TODAY)  # fmt: skip
    assert f'class="part {code} ' in svg
    assert f'<g class="mark {code}"' in svg
    assert '<tspan class="state"' in svg


def test_no_two_states_share_a_mark():
    drawn = [str(mark).replace(code, "") for code, (mark, _) in zip(TITLES, legend(set(TITLES)), strict=True)]
    assert len(set(drawn)) == len(TITLES)


def test_what_asks_for_something_is_hatched_and_each_hatching_is_defined():
    for code in ("overdue", "due", "soon", "watch"):
        svg = str(trike_drawing(everywhere(PartState(code, TODAY, "watch")), TODAY))
        assert svg.count(f'fill="url(#{code}-wide)"') > 20
        assert f'<pattern id="{code}-wide"' in svg


def test_a_gap_is_named_without_a_link_and_an_empty_place_is_drawn_without_words():
    gap, empty = PartState("unrecorded"), PartState("empty")
    rest = [place(code, empty, fitted=False) for code in POSITIONS if code != "seat"]
    svg = trike_drawing([*rest, place("seat", gap, fitted=False)], TODAY)
    assert links(svg) == []
    assert svg.count('<tspan class="name">Seat</tspan>') == len(SHEETS)
    assert "Rack" not in svg


def test_labels_never_touch_and_stay_on_the_sheet_however_many_there_are():
    for sheet in SHEETS:
        for count in (1, 5, 19):
            wanted = [300.0] * count
            height = max(620.0, count * sheet.pitch + 2 * MARGIN)
            rows = spread(wanted, height, sheet.pitch)
            gaps = [after - before for before, after in pairwise(rows)]
            assert all(gap >= sheet.pitch - 0.2 for gap in gaps)
            assert rows[0] >= MARGIN
            assert rows[-1] <= height - MARGIN


def test_labels_with_room_stand_at_the_height_of_their_part():
    assert spread([100.0, 300.0], 620.0, WIDE.pitch) == [100.0, 300.0]
    assert spread([], 620.0, WIDE.pitch) == []


def test_neighbours_that_would_touch_make_way_to_both_sides():
    first, second = spread([300.0, 300.0], 620.0, WIDE.pitch)
    assert 300.0 - first == pytest.approx(second - 300.0)
    assert second - first == pytest.approx(WIDE.pitch)


def test_the_list_below_says_what_the_drawing_says(workshop, desk):
    due(
        workshop.trike, workshop.shock, due_on=date(2026, 3, 3), early_on=date(2026, 2, 1), task="shock_air_can_service"
    )
    answer = desk.get(f"/trikes/{workshop.trike.pk}/")
    drawn = dict(links(drawing(answer.content.decode())))
    for row in answer.context["rows"]:
        if row.place.part:
            assert drawn[row.place.code] == f"{row.place.title.capitalize()}: {row.words}"
    assert drawn["rear-shock"] == "Rear shock: overdue since 3 Mar"


def test_places_where_a_serial_is_expected_and_missing_stand_last_in_the_list(workshop, desk):
    rows = desk.get(f"/trikes/{workshop.trike.pk}/").context["rows"]
    missing = [row.place.code for row in rows if row.place.part is None]
    assert [row.place.code for row in rows][-len(missing) :] == missing
    assert "brake-left" in missing
    assert "rack" not in missing


def test_what_owners_do_themselves_does_not_count(workshop, desk):
    due(workshop.trike, workshop.chain, due_on=date(2026, 3, 3), early_on=date(2026, 2, 1), owner_can=True)
    page = desk.get(f"/trikes/{workshop.trike.pk}/").content.decode()
    assert ("chain", "Chain: fine") in links(drawing(page))


def test_a_trike_in_build_shows_what_is_fitted_so_far(desk, db):
    trike = make.TrikeFactory(state="in_build", delivered_on=None)
    carry(trike, "frame", "frame", "F1")
    page = desk.get(f"/trikes/{trike.pk}/").content.decode()
    assert [code for code, _ in links(drawing(page))] == ["frame"]


def test_the_narrow_sheet_fits_a_phone():
    assert NARROW.width <= 344  # px between the edges of the panel at 390, the drawing a little over its padding
