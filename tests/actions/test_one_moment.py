"""Two things at one moment, or in the wrong order: a refusal in the trade's words, never an error of the database."""

from datetime import timedelta

import pytest

from tests import factories as make
from tests.releasing import release_if_demanded
from tracker.actions import job_cards, signing, swaps, usage
from tracker.actions.refusals import FieldInvalid, RemovedBeforeFitted
from tracker.models import Fitment, JobCard, OdometerReading

pytestmark = pytest.mark.django_db


@pytest.fixture
def trike():
    trike = make.OwnershipFactory().trike
    make.OdometerReadingFactory(trike=trike, km=2000)
    return trike


def test_a_part_fitted_after_the_odometer_was_read_is_not_swapped_out_before_it_came(trike, now):
    card = job_cards.open_card(trike_id=trike.pk, now=now)
    job_cards.take_odometer(card_id=card.pk, value=2010, now=now)
    chain = make.FitmentFactory(trike=trike, fitted_at=now + timedelta(hours=1)).component
    spare = make.ComponentFactory(part_type__kind="chain")
    later = now + timedelta(hours=2)
    swaps.plan_swap(card_id=card.pk, position="chain", new_serial=spare.serial, fate="scrapped", now=later)
    release_if_demanded(card, later)
    with pytest.raises(RemovedBeforeFitted):
        signing.sign_card(card_id=card.pk, version=None, by=make.UserFactory(), now=later)
    job_cards.take_odometer(card_id=card.pk, value=2010, now=later)
    signing.sign_card(card_id=card.pk, version=None, by=make.UserFactory(), now=later)
    assert Fitment.objects.current().get(trike=trike).component == spare
    assert Fitment.objects.get(component=chain).removed_at == JobCard.objects.get(pk=card.pk).worked_at


def test_two_doubtful_readings_of_one_moment_tell_of_one_reset(trike, now):
    first, second = (usage.record_reading(trike_id=trike.pk, value=value, read_at=now, now=now) for value in (15, 20))
    assert {first.verdict, second.verdict} == {OdometerReading.Verdict.SUSPECT}
    usage.decide_reading(reading_id=first.pk, choice="display_reset", by=None, now=now)
    with pytest.raises(FieldInvalid):
        usage.decide_reading(reading_id=second.pk, choice="display_reset", by=None, now=now)
