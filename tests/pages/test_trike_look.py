"""The trike page in one look: where it stands, what was measured, the logbook narrowed; and rows that cost no queries."""

from datetime import UTC, date, datetime, timedelta

import pytest

from tests import factories as make
from tests.factories import NOW
from tests.pages.conftest import ROLES, carry, due, logged_in
from tracker.models import LogEntry, OdometerReading
from tracker.pages.sparkline import last_value, sparkline, told
from tracker.queries.measured_series import series_of
from tracker.queries.trike_look import trike_look


def measured(workshop, part, quantity: str, *values: float, level: str = "ok", **row):
    """Signed measurements of a part, a month apart, the last a month ago."""
    signer = make.UserFactory()
    for number, value in enumerate(values):
        at = NOW - timedelta(days=30 * (len(values) - number))
        card = make.JobCardFactory(trike=workshop.trike, worked_at=at)
        make.MeasurementFactory(
            card=card, component=part, quantity=quantity, value=value, taken_at=at, level=level, **row
        )
        type(card).objects.filter(pk=card.pk).update(state="signed", signed_at=at, signed_by=signer)


def look(client, workshop, query: str = ""):
    return client.get(f"/trikes/{workshop.trike.pk}/{query}")


def text(answer) -> str:
    return " ".join(answer.content.decode().split())


# Where it stands


def test_the_distance_now_comes_with_its_range_and_the_day_it_was_last_read(workshop, desk):
    OdometerReading.objects.filter(trike=workshop.trike).update(read_at=datetime(2026, 3, 1, tzinfo=UTC))
    found = look(desk, workshop).context["found"]
    assert 2000 <= found.at_least_km <= found.distance.km <= found.distance.at_most_km
    page = text(look(desk, workshop))
    assert "eight times out of ten" in page
    assert "2,000 km on 1 Mar 2026" in page


def test_the_open_job_card_stands_there_with_its_complaint(workshop, desk):
    type(workshop.card).objects.update(complaint="Creaks <loudly>")
    page = text(look(desk, workshop))
    assert "Open job card" in page
    assert "Creaks &lt;loudly&gt;" in page


def test_pages_that_serve_now_and_then_stand_under_more(workshop, desk):
    ways = [words for _, words in look(desk, workshop).context["ways"]]
    assert {"Report a crash", "Swap the display", "Change"} <= set(ways)
    assert "Found again" not in ways


def test_a_stolen_trike_offers_the_way_back(workshop, desk):
    type(workshop.trike).objects.update(stolen_on="2026-04-20")
    ways = [words for _, words in look(desk, workshop).context["ways"]]
    assert "Found again" in ways
    assert not {"Report stolen", "Another owner"} & set(ways)


def test_a_reviewer_looks_but_finds_no_ways_to_change(workshop, reviewer):
    page = text(look(reviewer, workshop))
    assert "Report a crash" not in page
    assert "Verify the logbook" in page


@pytest.mark.parametrize("role", ROLES)
def test_every_role_may_look(role, workshop):
    assert look(logged_in(role), workshop).status_code == 200


# What was measured


def test_a_part_shows_its_last_value_with_unit_verdict_and_a_picture_told_in_words(workshop, desk):
    measured(workshop, workshop.chain, "chain_elongation_pct", 0.1, 0.2, 0.31)
    page = text(look(desk, workshop))
    assert '<b class="nowrap">0.31 %</b> chain elongation' in page
    assert "3 measurements of chain elongation, 31 Jan 2026 to 1 Apr 2026: from 0.10 % to 0.31 %, limit 0.75 %" in page


def test_the_quantity_measured_last_is_the_one_shown(workshop):
    battery = carry(workshop.trike, "battery", "battery", "B1")
    measured(workshop, battery, "battery_capacity_wh", 490)
    assert series_of({battery.pk: {"rated_wh": 504}})[battery.pk].quantity.code == "battery_capacity_wh"


def test_a_value_that_asks_for_attention_marks_the_part(workshop, desk):
    measured(workshop, workshop.chain, "chain_elongation_pct", 0.6, level="soon")
    rows = {row.place.code: row.words for row in look(desk, workshop).context["rows"]}
    assert rows["chain"] == "measured, replace soon"


def test_what_was_put_right_since_marks_nothing(workshop, desk):
    beside = {"temperature_c": 20, "set_kpa": 1000}
    measured(workshop, workshop.shock, "shock_pressure", 800, level="watch", context=beside)
    make.CompletionFactory(
        trike=workshop.trike, component=workshop.shock, task="shock_air_check", done_at=NOW - timedelta(days=30)
    )
    answer = look(desk, workshop)
    assert {row.place.code: row.words for row in answer.context["rows"]}["rear-shock"] == "fine"
    assert "put right since" in text(answer)


def test_pressures_are_compared_at_20_degrees(workshop):
    measured(workshop, workshop.shock, "shock_pressure", 1000.0, context={"temperature_c": 0, "set_kpa": 1000})
    found = series_of({workshop.shock.pk: {}})[workshop.shock.pk]
    assert found.values[0] > found.last == 1000.0  # warmer air presses harder
    assert found.limit < 1000.0


def test_a_pressure_without_its_temperature_is_shown_as_it_was_read(workshop):
    measured(workshop, workshop.shock, "shock_pressure", 1000.0)
    found = series_of({workshop.shock.pk: {}})[workshop.shock.pk]
    assert (found.values, found.limit) == ((1000.0,), None)


def test_a_single_value_and_even_values_can_be_drawn(workshop):
    measured(workshop, workshop.trike.fitments.get(position="frame").component, "toe_in_mm", 1.0)
    frame = workshop.trike.fitments.get(position="frame").component_id
    found = series_of({frame: {}})[frame]
    assert 'cx="52.0" cy="15.0" r="2.8"' in sparkline(found)
    assert told(found) == "1 measurement of toe-in: 1 mm on 1 Apr 2026"
    assert last_value(found) == "1 mm"


def test_drafts_count_for_nothing(workshop):
    make.MeasurementFactory(card=workshop.card, component=workshop.chain)
    assert series_of({workshop.chain.pk: {}}) == {}


# The logbook


@pytest.fixture
def logged(workshop):
    """Three entries: a reading, a measurement of the chain, one of the shock, by two people."""
    actor = make.UserFactory(username="mika", display_name="Mika")
    rows = [
        {"kind": "reading", "body": {"value": "2000", "unit": "km", "verdict": "accepted"}},
        {"kind": "measured", "component": workshop.chain, "actor": actor,
         "body": {"quantity": "chain_elongation_pct", "value": 0.31, "level": "ok", "card": "J25-00042"}},
        {"kind": "removed", "component": workshop.shock, "actor": make.UserFactory(username="noor", display_name="Noor"),
         "body": {"serial": "S24037", "position": "rear-shock", "fate": "in_stock", "reason": "<b>leaks</b>"}},
    ]  # fmt: skip
    for number, row in enumerate(rows, 1):
        make.LogEntryFactory(trike=workshop.trike, seq=number, **row)
    return workshop


def entries(client, logged, query: str = "") -> list[int]:
    return [row["entry"].seq for row in look(client, logged, query).context["log"].rows]


@pytest.mark.parametrize(
    ("query", "shown"),
    [
        ("", [3, 2, 1]), ("?kind=measured", [2]), ("?words=ELONGATION", [2]), ("?words=mika", [2]), ("?words=noor", [3]),
        ("?words=leaks", [3]), ("?words=1+may+2026", [3, 2, 1]), ("?words=nothing-like-it", []),
        ("?kind=measured&words=leaks", []), ("?kind=nonsense&part=nonsense", [3, 2, 1]), ("?part=999999", [3, 2, 1]),
        ("?words=%00", [3, 2, 1]),
    ],
)  # fmt: skip
def test_the_logbook_is_narrowed_by_kind_and_words(query, shown, logged, desk):
    assert entries(desk, logged, query) == shown


def test_the_logbook_is_narrowed_by_component(logged, desk):
    assert entries(desk, logged, f"?part={logged.chain.pk}") == [2]


def test_a_component_that_left_can_still_be_chosen(logged, desk):
    logged.shock.fitments.update(removed_at=NOW - timedelta(days=9))
    assert entries(desk, logged, f"?part={logged.shock.pk}") == [3]
    assert "Rear shock: S24037, until 22 Apr 2026" in text(look(desk, logged))


def test_a_component_of_another_trike_cannot_be_asked_for(logged, desk):
    other = carry(make.TrikeFactory(), "chain", "chain", "K999")
    assert entries(desk, logged, f"?part={other.pk}") == [3, 2, 1]


def test_what_is_asked_stays_in_the_form_and_is_said_in_words(logged, desk):
    page = text(look(desk, logged, f"?kind=measured&part={logged.chain.pk}&words=%3Ci%3E31"))
    assert '<option value="measured" selected>Measured</option>' in page
    assert 'value="&lt;i&gt;31"' in page
    assert "No entries of the kind <b>Measured</b> on <b>Chain: K24000</b> with the words <b>&lt;i&gt;31</b>." in page


def test_an_entry_names_its_author_and_login_and_escapes_what_was_typed(logged, desk):
    page = text(look(desk, logged))
    assert 'Mika <span class="nowrap">(login <span class="serial">mika</span>)</span>' in page
    assert "&lt;b&gt;leaks&lt;/b&gt;" in page


def test_an_amendment_points_at_what_it_corrects(logged, desk):
    make.LogEntryFactory(
        trike=logged.trike, seq=4, kind="amendment", body={"card": "J25-00042", "text": "0.13, not 0.31"},
        amends=LogEntry.objects.get(seq=2),
    )  # fmt: skip
    assert "(corrects entry 2)" in text(look(desk, logged))


def test_a_long_logbook_is_cut_and_says_so(workshop, desk):
    LogEntry.objects.bulk_create(
        make.LogEntryFactory.build(trike=workshop.trike, seq=number + 1, hash=f"{number:064d}") for number in range(50)
    )
    assert len(entries(desk, workshop)) == 40
    assert "Show all of it" in text(look(desk, workshop))
    assert len(entries(desk, workshop, "?log=all")) == 50


def test_the_logbook_is_verified_by_a_button_beside_it(workshop, desk):
    page = text(look(desk, workshop))
    assert '<form class="no-print" method="post" action="/logbook/verify/">' in page
    assert '<input type="hidden" name="trike" value="F26-1040">' in page


# Rows cost no queries


def test_more_parts_measurements_due_lines_and_entries_cost_no_more_queries(workshop, desk, assert_flat_queries):
    places = ["battery", "rear-hub", "brake-left", "brake-right", "elastomer-left", "elastomer-right", "boom-motor"]
    kinds = ["battery", "hub_geared", "brake", "brake", "elastomer", "elastomer", "motor"]
    measured(workshop, workshop.chain, "chain_elongation_pct", 0.1, 0.2)

    def grow() -> None:
        for number, (place, kind) in enumerate(zip(places, kinds, strict=True)):
            part = carry(workshop.trike, kind, place, f"G{number}")
            measured(workshop, part, "pad_mm" if kind == "brake" else "hardness_shore_a", 2.1, 2.0, 1.9)
            due(workshop.trike, part, due_on=date(2026, 5, 2), early_on=date(2026, 4, 20))
            make.LogEntryFactory(trike=workshop.trike, component=part, seq=100 + number, actor=make.UserFactory())

    assert_flat_queries(lambda: look(desk, workshop), grow)


def test_a_trike_that_does_not_exist_has_no_look(db, now):
    assert trike_look(999_999, now) is None
