"""Findings of every sort as the pages show them: each action with its shape, the early warning, a life that may be named."""

import re
from dataclasses import replace

import pytest

from services.review.found import (
    ACTIONS,
    AheadFound,
    Counts,
    EarlyWarning,
    Finding,
    LifeFound,
    Machines,
    Month,
    Rate,
    Reason,
    Repairs,
    Study,
    Survival,
    as_plain,
)
from tests import factories as make
from tracker.models import ReviewFinding

pytestmark = pytest.mark.django_db

WEARS = LifeFound(
    "many", "Enough for a fitted life with its limits.", "wear-out", "Wear-out.",
    "Wear-out: the older, the more often they fail.",
    shape=3.0, shape_low=2.1, shape_high=4.1, life=4000.0, life_low=3500.0, life_high=4700.0, b10=1900.0, b10_low=1500.0,
    b10_high=2300.0, b50=3540.0, b50_low=3100.0, b50_high=4100.0, wear_out_p=1e-6, gof_p=0.4,
)  # fmt: skip
STUDY = Study(
    counts=Counts(60, 50, 12, 14, 200_000.0, 1, 3, 6200.0),
    rate=Rate(6e-5, 3.5e-5, 9.6e-5, 5e-5, 3e-5, 8e-5, 2e-5, "12 failures in 60 parts."),
    life=WEARS,
    survival=Survival([1000.0, 2000.0], [50, 30], [0.98, 0.95], [0.9, 0.85], [1.0, 0.99], 2000.0, [500.0, 3000.0],
                      [[1000.0, 0.02], [2000.0, 0.05]]),
    repairs=Repairs(60, 14, [900.0, 1900.0], [55, 40], [0.1, 0.3], [0.05, 0.2], [0.2, 0.5], "getting worse", 0.01,
                    "14 repairs on 60 machines: they come more and more often."),
    comparisons=[],
    months=[Month("2026-03-01", 1, 1.0, 0, 3, True), Month("2026-04-01", 6, 1.1, 0, 3, True),
            Month("2026-05-01", 0, None, None, None, False)],
    warning=EarlyWarning("2026-04-01", 6, 1.1, 0.2, 0.0005, 5, True, "K24", "Too many."),
    ahead=AheadFound(4.2, 1, 8, 8, "Expect 4.2 failures in the next 12 months (1 to 8); hold 8."),
    machines=Machines(12, 4, 7, None, 0.001, "7 of 12 failures on one trike: more than chance would put there."),
)  # fmt: skip
FINDING = Finding(
    1, "replace", "Wear-out: the older, the more often they fail.", 0.0004, 1e-6,
    [Reason("wear-out", "", 1e-6, 0.0004, "Wear-out: the older, the more often they fail."),
     Reason("warning", "K24", 0.0005, None, "6 failures this month where 1.1 were expected.")],
    2200.0, "Replace at 2,200 km.",
)  # fmt: skip


def keep(study: Study = STUDY, finding: Finding = FINDING, **values) -> ReviewFinding:
    return make.ReviewFindingFactory(
        part_type__kind="chain", action=finding.action, verdict=finding.verdict, q=finding.q,
        payload={"study": as_plain(study), "finding": as_plain(finding)}, **values,
    )  # fmt: skip


def text(client, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200
    return answer.content.decode()


@pytest.mark.parametrize(
    ("action", "shape"),
    [("none", "plain"), ("watch", "watch"), ("inspect", "due"), ("replace", "replace"), ("stop-fitting", "stop")],
)
def test_every_action_has_a_shape_and_a_word(reviewer, action, shape):
    row = keep(finding=replace(FINDING, action=action))
    words = ACTIONS[action]
    expected = f'<span class="status {shape}">{words[0].upper()}{words[1:]}</span>'
    assert expected in text(reviewer, f"/review/{row.part_type_id}/")
    assert (expected in text(reviewer, "/review/")) == (action != "none")


def test_an_early_warning_is_marked_on_both_pages_and_in_its_month(reviewer):
    row = keep()
    assert "more than expected last month" in text(reviewer, "/review/")
    shown = text(reviewer, f"/review/{row.part_type_id}/")
    assert "6 failures where 1.1 were expected" in shown
    months = shown[shown.index('id="months"') :]
    assert "More than expected in Apr 26" in months
    assert "May 26, not over" in months
    assert (
        months[: months.index("</figure>")].count('class="column open"') == 0
    )  # none failed in it yet: no bar to outline


def test_an_age_to_replace_at_is_named_only_where_the_finding_names_it(reviewer):
    row = keep()
    assert "Replace at 2,200 km." in text(reviewer, f"/review/{row.part_type_id}/")
    other = keep(finding=replace(FINDING, action="none", do="", replace_at=None))
    assert "Replace at" not in text(reviewer, f"/review/{other.part_type_id}/")


def test_the_cost_of_replacing_by_age_is_drawn_only_for_wear_out(reviewer):
    row = keep()
    shown = text(reviewer, f"/review/{row.part_type_id}/")
    assert "Cost of replacing by age" in shown
    assert "a failure costs 5 times a planned change" in shown
    unsure = keep(study=replace(STUDY, life=replace(WEARS, pattern="cannot-tell", shape_low=0.9)))
    assert "Cost of replacing by age" not in text(reviewer, f"/review/{unsure.part_type_id}/")


def test_failures_crowded_on_one_trike_are_said_only_beyond_chance(reviewer):
    crowded, spread = keep(), keep(study=replace(STUDY, machines=replace(STUDY.machines, p=0.4)))
    assert "7 of 12 failures on one trike" in text(reviewer, f"/review/{crowded.part_type_id}/")
    assert "7 of 12 failures on one trike" not in text(reviewer, f"/review/{spread.part_type_id}/")


def test_a_trend_that_is_told_stands_in_the_overview(reviewer):
    keep()
    assert "wear-out, getting worse" in text(reviewer, "/review/")


def test_the_rate_stands_beside_its_kind_in_a_bar_and_in_numbers(reviewer):
    keep()
    shown = text(reviewer, "/review/")
    told = re.search(r'class="range-bar"[^>]*aria-label="([^"]*)"', shown)[1]
    assert told == "0.60 per 10,000 km, 0.35 to 0.96; usual for its kind 0.20"
    assert "usual 0.20" in shown


def test_without_a_sister_there_is_no_bar(reviewer):
    keep(study=replace(STUDY, rate=replace(STUDY.rate, usual=None)))
    shown = text(reviewer, "/review/")
    assert "range-bar" not in shown
    assert "0.60" in shown


def test_a_limit_that_nothing_sets_is_said(reviewer):
    row = keep(study=replace(STUDY, life=replace(WEARS, life_high=float("inf"))))
    assert "3,500 to no limit" in text(reviewer, f"/review/{row.part_type_id}/")


def test_other_metrics_are_offered_and_hours_are_named_as_such(reviewer):
    row = keep()
    make.ReviewFindingFactory(
        part_type=row.part_type, metric="hours", is_main=False, payload=row.payload, run=row.run, action="none"
    )
    shown = text(reviewer, f"/review/{row.part_type_id}/?metric=hours")
    assert '<option value="hours" selected>motor hours</option>' in shown
    assert "per 1,000 motor hours" in shown
    assert text(reviewer, "/review/?metric=hours").count("motor hours") >= 2
