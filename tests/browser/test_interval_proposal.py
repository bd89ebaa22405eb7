"""From the review to an interval and back to whether it helped, in a real browser: three widths, no scripts, no fault."""

from datetime import timedelta

import numpy as np
import pytest
from django.contrib.auth.models import Group
from django.utils import timezone

from tests import factories as make
from tests.browser.looking import look
from tests.browser.test_accessibility import faults
from tests.pages.reviewed import fitted, leaks, reviewed
from tracker.models import IntervalChange, PartType, ServiceInterval


@pytest.fixture
def worn(transactional_db) -> PartType:
    """A chain that wears out at some 3,000 km on 40 trikes, reviewed."""
    now = timezone.now()
    chain, begun = make.PartTypeFactory(kind="chain", part_number="CH-9", name="Chain, nine"), now - timedelta(days=800)
    for number, km in enumerate(np.random.default_rng(9).weibull(5.0, 40) * 3000):
        trike = make.TrikeFactory(delivered_on=begun.date())
        make.OdometerReadingFactory(trike=trike, value=3600, read_at=begun + timedelta(days=720))
        part = fitted(trike, chain, "chain", begun, serial=f"W-{number:03d}")
        if number % 3:
            leaks(part, trike, begun + timedelta(days=float(km) / 5.0), number, "wear")
    reviewed(now)
    return chain


@pytest.fixture
def reviewer(desk, mechanic):
    """The page of somebody who reviews."""
    mechanic.groups.set([Group.objects.get_or_create(name="reviewer")[0]])
    return desk


def test_from_the_part_to_an_interval_in_few_steps(reviewer, worn):
    reviewer.goto(f"/review/{worn.pk}/")
    reviewer.click("text=Renew by age?")
    assert "Replace at" in reviewer.inner_text("#proposal")
    look(reviewer, "interval-proposal")
    assert faults(reviewer) == []
    reviewer.click("text=Set this interval")  # three inputs in all
    reviewer.wait_for_selector("text=The interval is set.")
    assert ServiceInterval.objects.get().task == "chain_renewal"
    assert IntervalChange.objects.get().why.startswith("Failure review until")
    reviewer.click("text=Did it help?")
    reviewer.click("text=Before and after")
    look(reviewer, "before-after")
    assert faults(reviewer) == []


def test_a_comparison_fits_every_width(reviewer, worn):
    day = (timezone.now() - timedelta(days=500)).date()
    reviewer.goto(f"/review/{worn.pk}/compare/?what=day&on={day}&metric=km")
    assert "Before" in reviewer.inner_text("#told")
    look(reviewer, "before-after-told")
    assert faults(reviewer) == []


def test_without_scripts_costs_are_reckoned_again(chromium, live_server, reviewer, worn):
    context = chromium.new_context(
        base_url=live_server.url, java_script_enabled=False, storage_state=reviewer.context.storage_state()
    )
    page = context.new_page()
    page.goto(f"/review/{worn.pk}/interval/")
    page.fill("#ground_failure", "20")
    page.click("text=Reckon again")
    assert "20 times a planned change" in page.inner_text("#proposal")
    context.close()
