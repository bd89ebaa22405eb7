"""Charge of a stored battery."""

import pytest

from services.errors import ImpossibleMeasurement
from services.kinds import judge
from services.kinds.battery_storage import storage_advice


@pytest.mark.parametrize(
    ("pct", "advice", "level"),  # maker pages print 30-50 and 40-60 %
    [(25, "advise", "watch"), (30, "ok", "ok"), (60, "ok", "ok"), (61, "advise", "watch")],
)
def test_a_pack_is_stored_30_to_60_per_cent_full(pct, advice, level):
    assert storage_advice(pct) == advice
    assert judge("storage_charge_pct", pct).level == level


def test_the_words_say_which_way_to_go():
    assert judge("storage_charge_pct", 20).words == "20 % full - charge it a little: store at 30 to 60 %."
    assert judge("storage_charge_pct", 90).words == "90 % full - ride it down a little: store at 30 to 60 %."


def test_more_than_full_is_refused():
    with pytest.raises(ImpossibleMeasurement, match="between 0 and 100 %"):
        judge("storage_charge_pct", 101)
