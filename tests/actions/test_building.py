"""Scanning down the list: another part is asked about, an unknown one taken in, a handed-over trike left alone."""

import pytest

from services.positions import WrongPosition
from tests import factories as make
from tests.factories import NOW
from tracker.actions.build_lists import Line, add_build_list
from tracker.actions.building import AlreadyHandedOver, OtherPartType, fit_from_list, stock_and_fit
from tracker.actions.refusals import SerialAlreadyFitted, SerialAlreadyKnown
from tracker.models import Component, Fitment, LogEntry

pytestmark = pytest.mark.django_db


@pytest.fixture
def usual():
    return make.PartTypeFactory(kind="chain", name="Nine-speed chain")


@pytest.fixture
def trike(usual):
    add_build_list(model="Fenwalk", lines=[Line("chain", usual.pk), Line("seat")], by=None, now=NOW)
    return make.TrikeFactory(model="Fenwalk", state="in_build", delivered_on=None)


def fit(trike, component, position="chain", **more) -> Fitment:
    return fit_from_list(trike_id=trike.pk, position=position, component_id=component.pk, now=NOW, **more)


def test_the_part_of_the_list_goes_in_without_a_question(trike, usual):
    component = make.ComponentFactory(part_type=usual)
    assert fit(trike, component).component == component
    assert LogEntry.objects.get(trike=trike).kind == "fitted"


def test_another_part_type_is_asked_about_and_fitted_when_it_is_meant(trike):
    other = make.ComponentFactory(part_type__kind="chain", part_type__name="Ten-speed chain", serial="K10")
    with pytest.raises(OtherPartType) as question:
        fit(trike, other)
    assert "Nine-speed chain" in question.value.message
    assert "K10 is Ten-speed chain" in question.value.message
    assert not Fitment.objects.exists()
    assert fit(trike, other, all_the_same=True).component == other


def test_a_part_of_another_kind_is_refused_by_the_position_and_not_asked_about(trike):
    with pytest.raises(WrongPosition):
        fit(trike, make.ComponentFactory(part_type__kind="battery"))


def test_where_the_list_leaves_the_type_open_nothing_is_asked(trike):
    seat = make.ComponentFactory(part_type__kind="seat_mesh")
    assert fit(trike, seat, "seat").position == "seat"


def test_a_model_without_a_list_asks_nothing():
    trike = make.TrikeFactory(model="Odd", state="in_build", delivered_on=None)
    assert fit(trike, make.ComponentFactory()).position == "chain"


def test_an_unknown_part_is_taken_in_and_fitted_in_one_step(trike, usual):
    fitment = stock_and_fit(
        trike_id=trike.pk, position="chain", part_type_id=usual.pk, serial=" k-77 ", batch="B1", now=NOW
    )
    assert (fitment.component.serial, fitment.component.batch, fitment.component.state) == ("K-77", "B1", "fitted")


def test_what_cannot_be_fitted_is_not_taken_in_either(trike):
    battery = make.PartTypeFactory(kind="battery")
    with pytest.raises(WrongPosition):
        stock_and_fit(trike_id=trike.pk, position="chain", part_type_id=battery.pk, serial="B77", now=NOW)
    assert not Component.objects.filter(serial="B77").exists()


def test_a_known_serial_is_not_taken_in_twice(trike, usual):
    make.ComponentFactory(serial="K77")
    with pytest.raises(SerialAlreadyKnown):
        stock_and_fit(trike_id=trike.pk, position="chain", part_type_id=usual.pk, serial="k77", now=NOW)


def test_a_part_that_sits_elsewhere_is_refused(trike, usual):
    elsewhere = make.FitmentFactory(component__part_type=usual).component
    with pytest.raises(SerialAlreadyFitted):
        fit(trike, elsewhere)


def test_after_the_builders_signature_nothing_is_fitted_here(trike, usual):
    make.HandoverFactory(trike=trike)
    for target in (trike, make.TrikeFactory()):
        with pytest.raises(AlreadyHandedOver):
            fit(target, make.ComponentFactory(part_type=usual))
