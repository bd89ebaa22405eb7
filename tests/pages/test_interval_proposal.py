"""From the review to an interval: what is proposed with which costs, who may set it, and whether it helped."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from tests import factories as make
from tests.pages.reviewed import Reviewed, fitted, fleet, leaks, reviewed
from tracker.models import BulletinPart, IntervalChange, PartType, ServiceInterval

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 5, 1, 10, 0, tzinfo=UTC)
WHY = "Worn out early: the review says so."


@pytest.fixture
def found() -> Reviewed:
    return fleet(NOW)


@pytest.fixture
def worn() -> PartType:
    """A chain that wears out at some 3,000 km, seen on 40 trikes, reviewed."""
    chain = make.PartTypeFactory(kind="chain", part_number="CH-9", name="Chain, nine")
    lives, begun = np.random.default_rng(9).weibull(5.0, 40) * 3000, NOW - timedelta(days=800)
    for number, km in enumerate(lives):
        trike = make.TrikeFactory(delivered_on=begun.date())
        make.OdometerReadingFactory(trike=trike, value=3600, read_at=begun + timedelta(days=720))
        part = fitted(trike, chain, "chain", begun, serial=f"W-{number:03d}")
        if number % 3:
            leaks(part, trike, begun + timedelta(days=float(km) / 5.0), number, "wear")
    reviewed(NOW)
    return chain


def page(part_type: PartType, **asked) -> str:
    return f"/review/{part_type.pk}/interval/?" + "&".join(f"{name}={value}" for name, value in asked.items())


def html(client, address: str, status: int = 200) -> str:
    answer = client.get(address)
    assert answer.status_code == status
    return answer.content.decode()


def test_a_part_that_wears_out_gets_an_age_and_the_reasons(reviewer, worn):
    told = html(reviewer, page(worn))
    assert "Replace at 1," in told
    assert "5 times a planned change" in told
    assert "less than running to failure" in told
    assert "Cost of replacing by age" in told


def test_the_shops_own_costs_move_the_age(reviewer, worn):
    dear, cheap = (html(reviewer, page(worn, planned=1, failure=cost)) for cost in (40, 2.5))
    ages = [int(told.split("Replace at ")[1].split(" ")[0].replace(",", "")) for told in (dear, cheap)]
    assert ages[0] < ages[1]


def test_costs_that_cannot_be_stand_beside_their_field(reviewer, worn):
    told = html(reviewer, page(worn, failure=-3))
    assert "Both changes cost something." in told
    assert "Replace at" not in told


def test_accepting_sets_the_interval_of_this_part_type_and_keeps_why(reviewer, worn):
    address = page(worn, planned=1, failure=5, maker=4000)
    answer = reviewer.post(address, {"interval": "1800", "why": WHY, "version": 0})
    assert (answer.status_code, answer["Location"]) == (302, f"/review/{worn.pk}/interval/")
    row, kept = ServiceInterval.objects.get(part_type=worn), IntervalChange.objects.get()
    assert (row.task, row.first_km, row.once) == ("chain_renewal", 1800, True)
    assert (kept.why, kept.ground["makers_limit"], kept.ground["failure"]) == (WHY, 4000, 5)
    assert kept.changed_by.username == "the-reviewer"
    told = html(reviewer, page(worn))
    assert "first at: 1,800 km" in told
    assert "In use: 1,800 km" in told


def test_without_a_reason_nothing_is_set_and_the_field_says_so(reviewer, worn):
    answer = reviewer.post(page(worn), {"interval": "1800", "why": "", "version": 0})
    assert answer.status_code == 422
    assert not ServiceInterval.objects.exists()


def test_who_was_slower_is_told_and_overwrites_nothing(reviewer, worn):
    for _ in range(2):
        answer = reviewer.post(page(worn), {"interval": "1800", "why": WHY, "version": 0})
    assert answer.status_code == 409
    assert ServiceInterval.objects.get().version == 1


def test_few_failures_propose_no_age(reviewer, found):
    told = html(reviewer, page(found.sister))
    assert "No age limit justified: inspect and run." in told


def test_a_part_type_that_is_not_in_the_review_says_so(reviewer, found):
    assert "interval" not in html(reviewer, page(make.PartTypeFactory(kind="display"))).split("<main")[1].lower()


@pytest.mark.parametrize("role", ["desk", "mechanic"])
def test_only_who_rules_sees_the_proposal(role, request, found):
    assert request.getfixturevalue(role).get(page(found.part_type)).status_code == 404


# --- did it help


def compare(part_type: PartType, **asked) -> str:
    return f"/review/{part_type.pk}/compare/?" + "&".join(f"{name}={value}" for name, value in asked.items())


def test_before_and_after_a_day_counts_each_piece_on_both_sides(desk, found):
    day = (NOW - timedelta(days=400)).date()
    told = html(desk, compare(found.part_type, what="day", on=day))
    assert "of 24" in told
    assert "full months only" in told


def test_a_day_is_asked_for_where_one_is_needed(desk, found):
    assert "Name the day" in html(desk, compare(found.part_type, what="day"), 422)
    assert "Did it help?" in html(desk, compare(found.part_type))


@pytest.mark.parametrize("what", ["nonsense", "firmware:9", "part_type:999999", "bulletin:1"])
def test_a_change_that_is_not_offered_is_refused(desk, found, what):
    html(desk, compare(found.part_type, what=what), 422)


def test_a_part_type_in_the_place_of_another_is_compared_with_it(desk, found):
    told = html(desk, compare(found.part_type, what=f"part_type:{found.sister.pk}"))
    assert "Of the other" in told
    assert "6 of 24" in told
    assert "By " in told  # repairs by place


def test_pieces_made_from_a_day_on_stand_against_those_before(desk, found):
    found.part_type.components.filter(batch="K25").update(made_on=date(2025, 6, 1))
    told = html(desk, compare(found.part_type, what="made", on="2025-03-01"))
    assert "9 of 12" in told
    assert "2 of 12" in told
    assert "It helped" in told


def test_firmware_leaves_out_pieces_that_name_none(desk, found):
    found.part_type.components.filter(batch="K25").update(firmware="2.1")
    found.part_type.components.filter(batch="K24", serial__lt="S-0011").update(firmware="2.0")
    told = html(desk, compare(found.part_type, what="firmware:2.1"))
    assert "7 pieces left out: they do not say on which side." in told


def test_a_bulletin_cuts_each_piece_on_the_day_it_was_done(desk, found):
    bulletin = make.BulletinFactory()
    parts = list(found.part_type.components.filter(batch="K25"))
    BulletinPart.objects.bulk_create(
        BulletinPart(
            bulletin=bulletin, component=part, certainty="affected", joined_at=NOW, since=NOW,
            done_at=NOW - timedelta(days=200) if number % 2 else None,
        )
        for number, part in enumerate(parts)
    )  # fmt: skip
    told = html(desk, compare(found.part_type, what=f"bulletin:{bulletin.pk}"))
    assert "After it was done" in told
    assert "12 pieces left out" in told
    assert "2 of 12" in told


def test_changed_intervals_lead_to_their_own_comparison(reviewer, worn):
    reviewer.post(page(worn), {"interval": "1800", "why": WHY, "version": 0})
    told = html(reviewer, compare(worn))
    assert f"?what=day&amp;on={NOW.date():%Y-%m-%d}&amp;metric=km" in told
    assert "Nothing ran after: nothing to compare." in html(reviewer, compare(worn, what="day", on=NOW.date()))


def test_a_larger_fleet_asks_no_more_queries(desk, found, assert_flat_queries):
    day = (NOW - timedelta(days=400)).date()

    def grow():
        for number in range(6):
            trike = make.TrikeFactory(delivered_on=(NOW - timedelta(days=700)).date())
            fitted(trike, found.part_type, "rear-shock", NOW - timedelta(days=700), serial=f"G-{number}", batch="K25")

    assert_flat_queries(lambda: desk.get(compare(found.part_type, what="day", on=day)), grow)


def test_an_interval_shows_what_it_was_before(reviewer):
    row = make.ServiceIntervalFactory(task="chain_check", part_kind="chain", every_km=1500)
    form = {"every_km": "900", "every_months": "6", "early_km": "150", "early_days": "14", "rebase": "from_done",
            "source": "a test", "version": row.version}  # fmt: skip
    reviewer.post(f"/intervals/{row.pk}/", form)
    told = html(reviewer, f"/intervals/{row.pk}/")
    assert "then every: 900 km, was 1,500 km" in told
