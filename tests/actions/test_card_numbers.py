"""Numbers of job cards: one after the other, whatever numbers an imported service book brought."""

import pytest

from tests import factories as make
from tracker.actions.job_cards import open_card

pytestmark = pytest.mark.django_db


def opened(now) -> str:
    return open_card(trike_id=make.TrikeFactory().pk, now=now).number


def test_numbers_begin_anew_each_year(now):
    make.JobCardFactory(number="J25-00812")
    assert [opened(now), opened(now)] == ["J26-00001", "J26-00002"]


def test_numbers_go_on_after_imported_ones_of_another_length(now):
    # the demo's own service book: J26-0796
    make.JobCardFactory(number="J26-0796")
    assert [opened(now), opened(now), opened(now)] == ["J26-00797", "J26-00798", "J26-00799"]


def test_an_imported_number_with_letters_does_not_count(now):
    make.JobCardFactory(number="J26-0796b")
    make.JobCardFactory(number="J26-12-3")
    assert opened(now) == "J26-00001"
