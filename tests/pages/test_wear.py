"""Wear on the component page: words, drawing and table for what was measured; what to note next where nothing can be told."""

from datetime import timedelta

import pytest

from tests import factories as make
from tests.pages.conftest import carry
from tracker.models import JobCard
from tracker.queries.fleet_numbers import FleetBook, book_of
from tracker.queries.learning import learn
from tracker.queries.wear import tracks_of, wear_of

pytestmark = pytest.mark.django_db

AIR = {"temperature_c": 20, "set_kpa": 1000}


def measured(trike, part, now, values, *, quantity="chain_elongation_pct", context=None, every=30, state="signed"):
    """Values a month apart, the last one yesterday."""
    for place, value in enumerate(values):
        day = now - timedelta(days=1 + every * (len(values) - 1 - place))
        card = make.JobCardFactory(trike=trike, worked_at=day)
        make.MeasurementFactory(
            card=card, component=part, quantity=quantity, value=value, taken_at=day, context=context or {}
        )
        if state == "signed":
            JobCard.objects.filter(pk=card.pk).update(state=state, signed_by=make.UserFactory(), signed_at=day)


def ridden(trike, now):
    for month in range(1, 12):
        make.OdometerReadingFactory(
            trike=trike, value=2000 + 250 * month, read_at=now - timedelta(days=30 * (12 - month))
        )


def page(client, part):
    return client.get(f"/components/{part.pk}/").content.decode()


def test_a_chain_is_told_in_km_and_dates_with_its_drawing(workshop, now, mechanic):
    ridden(workshop.trike, now)
    measured(workshop.trike, workshop.chain, now, [0.15, 0.16, 0.17, 0.18, 0.19, 0.20], context={"pitches": 100})
    told = wear_of(workshop.chain.pk, now)[0]
    assert told.forecast.dated
    assert told.forecast.counted == 6
    assert told.forecast.limits == (pytest.approx(0.6), 0.75)  # factories: limit 0.75 %, warning at four fifths
    shown = page(mechanic, workshop.chain)
    assert "Wear: " in shown
    assert told.words in shown
    assert shown.count('class="chart ') == 2  # desk and phone
    assert "Limit 0.75 %" in shown
    assert 'role="img"' in shown
    assert "style=" not in shown.split('class="panel wear"')[1].split("</section>")[0]  # the content policy allows none


def test_a_battery_is_told_in_days(workshop, now, mechanic):
    battery = carry(workshop.trike, "battery", "battery", "B77")
    measured(workshop.trike, battery, now, [490, 480, 470], quantity="battery_capacity_wh", every=100)
    told = wear_of(battery.pk, now)[0]
    assert told.forecast.kind.axis == "days"
    assert told.forecast.dated
    assert " km" not in told.words
    assert "Limit" in page(mechanic, battery)


def test_charge_cycles_go_with_each_measurement(workshop, now):
    battery = carry(workshop.trike, "battery", "battery", "B78")
    make.MeterReadingFactory(component=battery, value=80, read_at=now - timedelta(days=1))
    measured(workshop.trike, battery, now, [480], quantity="battery_capacity_wh")
    assert tracks_of([battery.pk])[battery.pk]["battery_capacity_wh"].readings[0].cycles == pytest.approx(80)


def test_a_shock_filled_after_each_check_leaks_anew(workshop, now, mechanic):
    measured(workshop.trike, workshop.shock, now, [950, 940, 945], quantity="shock_pressure", context=AIR, every=60)
    for card in workshop.shock.measurements.all():
        make.CompletionFactory(
            trike=workshop.trike, component=workshop.shock, task="shock_air_check", done_at=card.taken_at
        )
    told = wear_of(workshop.shock.pk, now)[0]
    assert all(reading.renewed for reading in told.track.readings)
    assert told.forecast.origin == told.track.readings[-1].at
    assert "850 kPa" in told.words or "850 kPa" in page(mechanic, workshop.shock)  # 85 % of what is set


def test_air_put_in_without_measuring_begins_anew_and_keeps_what_was_learnt(workshop, now):
    measured(workshop.trike, workshop.shock, now, [950, 940], quantity="shock_pressure", context=AIR, every=100)
    filled = now - timedelta(days=51)
    make.CompletionFactory(trike=workshop.trike, component=workshop.shock, task="shock_air_check", done_at=filled)
    first, second = wear_of(workshop.shock.pk, now)[0].track.reckoned
    assert first.renewed
    assert second.at - first.at == pytest.approx(
        50, abs=0.1
    )  # from the filling to the measurement, an hour of summer time apart


def test_without_the_set_pressure_it_says_what_to_note(workshop, now, mechanic):
    measured(workshop.trike, workshop.shock, now, [950], quantity="shock_pressure", context={"temperature_c": 20})
    shown = page(mechanic, workshop.shock)
    assert "Cannot tell yet: the pressure it is set to is not known." in shown
    assert "Note the pressure it is set to beside the next measurement." in shown
    assert 'class="chart ' not in shown


def test_a_used_chain_of_unknown_distance_is_not_foretold(workshop, now, mechanic):
    type(workshop.chain).objects.filter(pk=workshop.chain.pk).update(life_before_km=None)
    measured(workshop.trike, workshop.chain, now, [0.3, 0.4])
    assert wear_of(workshop.chain.pk, now)[0].forecast is None
    assert "how far it ran before it came here is not known" in page(mechanic, workshop.chain)


def test_nothing_is_shown_without_a_signed_measurement(workshop, now, mechanic):
    measured(workshop.trike, workshop.chain, now, [0.3], state="draft")
    assert wear_of(workshop.chain.pk, now) == []
    assert "Wear: " not in page(mechanic, workshop.chain)


def test_twenty_two_measurements_take_no_more_queries_than_two(workshop, now, django_assert_num_queries, mechanic):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    measured(workshop.trike, workshop.chain, now, [0.1, 0.12], every=5)
    with CaptureQueriesContext(connection) as few:
        page(mechanic, workshop.chain)
    measured(workshop.trike, workshop.chain, now - timedelta(days=2), [0.1] * 20, every=5)
    with django_assert_num_queries(len(few)):
        page(mechanic, workshop.chain)


def test_a_reading_far_off_is_drawn_as_a_cross(workshop, now, mechanic):
    ridden(workshop.trike, now)
    measured(workshop.trike, workshop.chain, now, [0.15, 0.16, 0.17, 2.5, 0.19, 0.20], context={"pitches": 100})
    assert wear_of(workshop.chain.pk, now)[0].forecast.laid_aside == (3,)
    shown = page(mechanic, workshop.chain)
    assert 'class="cross"' in shown
    assert "does not fit: left out" in shown


def test_learning_fits_what_was_measured_and_a_book_carries_it(workshop, now):
    ridden(workshop.trike, now)
    measured(workshop.trike, workshop.chain, now, [0.1, 0.16, 0.21, 0.27])
    numbers = learn(now).numbers
    assert list(numbers["wear"]) == ["chain_elongation_pct"]
    book = book_of(make.models.FleetNumbers(numbers=numbers))
    assert isinstance(book, FleetBook)
    assert book.wear["chain_elongation_pct"].parts == 1
