"""Readings judged from what the display showed at the handover, as long as it is the first display."""

from datetime import UTC, datetime

import pytest

from services.odometer import ImpossibleSpeed
from tests import factories as make
from tests.factories import NOW
from tracker.actions.usage import record_reading
from tracker.models import Trike

pytestmark = pytest.mark.django_db


@pytest.fixture
def trike() -> Trike:
    """Handed over on 1 May 2025 at 12 km; no reading is on record."""
    return make.TrikeFactory(odometer_zero_km=12.0)


def read(trike: Trike, value: float, at: datetime = datetime(2025, 5, 8, 10, 0, tzinfo=UTC), **told):
    return record_reading(
        trike_id=trike.pk, value=value, unit="km", read_at=at, source="desk", by=None, now=NOW, **told
    )


def test_a_first_reading_below_the_handover_is_in_doubt(trike):
    assert read(trike, 5).reason_code == "below-the-last-reading"


def test_a_first_reading_after_the_handover_is_accepted(trike):
    assert read(trike, 60).verdict == "accepted"


def test_a_first_reading_no_rider_can_have_ridden_since_the_handover_is_refused(trike):
    with pytest.raises(ImpossibleSpeed):
        read(trike, 45_000)


def test_a_later_display_begins_at_its_own_start(trike):
    make.DisplayChangeFactory(trike=trike, old_final_km=1500.0)  # on 1 Dec 2025; the new one began at 0
    assert read(trike, 5, datetime(2025, 12, 8, 10, 0, tzinfo=UTC)).verdict == "accepted"


def test_a_trike_in_build_has_no_handover_to_be_judged_from():
    trike = make.TrikeFactory(state="in_build", delivered_on=None, odometer_zero_km=12.0)
    assert read(trike, 5).verdict == "accepted"
