"""The database and services.bulletins.match say the same of every component, whatever a bulletin names."""

from datetime import date, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from services.bulletins import AFFECTED, CANNOT_EXCLUDE, Scope, fold_mark, match, order_key
from services.errors import Refusal
from tests.bulletins.conftest import on_a_trike
from tests.factories import ComponentFactory, FitmentFactory, OwnerFactory, PartTypeFactory
from tracker.models import Component
from tracker.queries.bulletins import count_matches, matching, piece_of, preview, typed_scope

pytestmark = pytest.mark.django_db
SERIALS = st.from_regex(r"[A-C]{0,2}[0-9]{1,3}[-.]?[0-9A-BÄ]{0,2}", fullmatch=True)
MARKS = st.sampled_from(["", "K-17", "k-17", "K17", " k-17", "L2", "Ⅳ", "ß1", "SS1"])
FIRMWARE = st.sampled_from(["", "2.1", "2.10", "V2.1", "v2.1"])
DAYS = st.one_of(st.none(), st.dates(date(2025, 1, 1), date(2025, 1, 12)))
PIECES = st.lists(
    st.tuples(st.integers(0, 1), st.one_of(st.none(), SERIALS), MARKS, DAYS, FIRMWARE), min_size=1, max_size=12,
    unique_by=lambda piece: piece[1] or object(),
)  # fmt: skip


@st.composite
def scopes(draw, types):
    """A scope that could be written: at least one part type, ranges and window that run forwards."""
    ranges = [sorted(draw(st.tuples(SERIALS, SERIALS)), key=order_key) for _ in range(draw(st.integers(0, 2)))]
    days = sorted(draw(st.lists(st.dates(date(2025, 1, 1), date(2025, 1, 12)), min_size=2, max_size=2)))
    return Scope(
        part_types=frozenset(draw(st.lists(st.sampled_from(types), min_size=1, max_size=2))),
        serials=tuple(map(tuple, ranges)),
        batches=frozenset(fold_mark(mark) for mark in draw(st.lists(MARKS, max_size=2)) if mark),
        made_from=draw(st.sampled_from([None, days[0]])),
        made_until=draw(st.sampled_from([None, days[1]])),
        firmware=frozenset(fold_mark(mark) for mark in draw(st.lists(FIRMWARE, max_size=2)) if mark),
    )


@pytest.fixture
def types(db):
    return [PartTypeFactory(part_number=f"LF-{name}") for name in ("ONE", "TWO", "THREE")]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data(), pieces=PIECES)
def test_the_database_says_what_the_trade_says(data, pieces, types):
    scope = data.draw(scopes([row.part_number for row in types]))
    rows = [
        Component(
            part_type=types[kind],
            serial=serial,
            batch=batch or ("" if serial else "?"),
            made_on=made,
            firmware=firmware,
        )
        for kind, serial, batch, made, firmware in pieces
    ]
    Component.objects.bulk_create(rows)
    words = {AFFECTED: "affected", CANNOT_EXCLUDE: "cannot_exclude"}
    told = {row.pk: words.get(match(scope, piece_of(row))) for row in rows}
    found = dict(matching(scope).values_list("pk", "certainty"))
    Component.objects.all().delete()
    assert found == {pk: certainty for pk, certainty in told.items() if certainty}


def test_it_is_matched_on_a_trike_in_stock_and_gone_and_owners_are_counted(shock):
    on_a_trike(shock, "S1", batch="K-17")
    on_a_trike(shock, "S2", batch="K-17", owner=OwnerFactory(email="", phone="020 7946 0101"))
    on_a_trike(shock, "S3", batch="", owner=OwnerFactory(email="", phone=""))
    moved = on_a_trike(shock, "S4", batch="K-17")
    stay = moved.fitments.get()
    stay.removed_at = stay.fitted_at + timedelta(days=9)
    stay.save()
    FitmentFactory(component=moved, trike=on_a_trike(shock, "S5", batch="L-2").fitments.get().trike, position="chain",
                   fitted_at=stay.removed_at)  # fmt: skip
    ComponentFactory(part_type=shock, serial="S6", batch="K-17")
    ComponentFactory(part_type=shock, serial="S7", batch="K-17", state="scrapped")
    told = preview(typed_scope({"part_types": [shock.pk], "batches": [" k-17"]}))
    found = told.found
    assert (found.total, found.affected, found.cannot_exclude) == (6, 5, 1)
    assert (found.fitted, found.in_stock, found.elsewhere) == (4, 1, 1)
    assert (found.trikes, found.owners, found.owners_by_mail, found.owners_by_phone, found.contactable) == (
        4,
        4,
        2,
        1,
        3,
    )
    [row] = [row for row in told.components if row.serial == "S4"]
    assert [stay.removed_at is None for stay in row.stays] == [True, False]
    assert row.stays[0].trike.now_owned[0].owner.name


def test_a_longer_list_asks_no_more_queries(shock, assert_flat_queries):
    scope = typed_scope({"part_types": [shock.pk]})

    def grow():
        for number in range(12):
            on_a_trike(shock, f"G{number}")

    on_a_trike(shock, "S1")
    assert_flat_queries(lambda: preview(scope), grow=grow)


def test_ranges_count_as_people_count(shock):
    for serial in ("A9", "A10", "A99", "A100", "B9"):
        ComponentFactory(part_type=shock, serial=serial)
    scope = typed_scope({"part_types": [shock.pk], "serials": [("a9", "a99")]})
    assert list(matching(scope).values_list("serial", flat=True)) == ["A9", "A10", "A99"]
    assert count_matches(scope).total == 3


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"part_types": []}, "part_types"),
        ({"serials": [("B2", "B1")]}, "serials"),
        ({"serials": [("", "B1")]}, "serials"),
        ({"made_from": date(2026, 2, 1), "made_until": date(2026, 1, 1)}, "made_from"),
    ],
)
def test_a_scope_that_cannot_be_names_its_field(shock, values, field):
    with pytest.raises(Refusal) as refusal:
        typed_scope({"part_types": [shock.pk], **values})
    assert (refusal.value.code, refusal.value.field) == ("bad-scope", field)
