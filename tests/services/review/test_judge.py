"""Part types beside each other: what is named, in which order, and what is asked for."""

import json
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from scipy.stats import chi2, false_discovery_control

from services.review.apart import MIXED
from services.review.compare import compared, pieces_of
from services.review.found import as_plain, study_of
from services.review.judge import judge
from services.review.study import machines_of, study
from tests.services.review.parts import part_of
from tests.simulator.failing import PLANTED, as_lives, failing_fleet

UNTIL = date(2026, 5, 1)


def reviewed(*parts):
    return judge(parts, [study(part, UNTIL, with_views=False) for part in parts])


def only(part):
    (one,) = reviewed(part).judged
    return one


def batches(bad: int, of: int, good: int, rest: int, **more):
    """`bad` of `of` pieces of batch K failed, `good` of the `rest` of batch L; all ran 1,000 km, nobody knows from what age."""
    failed = [True] * bad + [False] * (of - bad) + [True] * good + [False] * (rest - good)
    known = np.zeros(of + rest, dtype=bool)
    labels = {"batch": ["K"] * of + ["L"] * rest}
    return part_of(end=[1000.0] * (of + rest), failed=failed, known=known, **(labels | more))


def test_a_batch_that_fails_far_more_is_no_longer_fitted():
    one = only(batches(12, 41, 2, 160))
    assert one.finding.action == "stop-fitting"
    assert one.finding.verdict.startswith("12 of 41 air shocks of batch K leaked; the other batches 2 of 160: ")
    assert one.finding.do == "Stop fitting air shocks of batch K, and inspect what is out at once."


def test_a_batch_that_fails_somewhat_more_is_inspected():
    assert only(batches(9, 60, 7, 180)).finding.action == "inspect"


def test_what_is_not_quite_proven_is_watched():
    one = only(batches(6, 60, 6, 180))
    assert (one.finding.action, one.finding.do) == ("watch", "Watch air shocks of batch K: not proven yet.")
    assert "but it may still be chance (q = " in one.finding.verdict


def test_what_chance_would_do_is_not_named_and_the_verdict_is_the_rate():
    one = only(batches(2, 60, 6, 180))
    assert (one.finding.action, one.finding.do, one.finding.reasons) == ("none", "", [])
    assert one.finding.verdict.startswith("8 failures in 240 parts over ")


def test_a_batch_that_fails_less_is_no_reason():
    spread = ["L", "M", "N"] * 60
    one = only(batches(0, 60, 60, 180, batch=["K"] * 60 + spread))
    assert {made.group: made.is_worse for made in one.study.comparisons}["K"] is False
    assert [reason.group for reason in one.finding.reasons if reason.group == "K"] == []


def test_failures_of_one_trike_are_no_proof_against_a_batch():
    machine = [7] * 12 + list(range(100, 289))
    one = only(batches(12, 41, 2, 160, machine=machine))
    assert one.finding.action == "watch"
    assert "12 of its failures lie on one trike" in one.finding.verdict
    assert "look at that trike" in one.study.machines.sentence


def test_failures_spread_over_trikes_say_nothing_of_any():
    assert machines_of(batches(12, 41, 2, 160)).sentence == ""


def test_without_a_failure_the_bound_is_the_verdict():
    assert only(part_of(end=[1000.0] * 30, failed=[False] * 30)).finding.verdict.startswith("No failure in 30 parts")


def test_part_types_are_compared_with_their_sisters():
    good = part_of(end=[1000.0] * 100, failed=[True] * 2 + [False] * 98, part_type=1, name="Shock A")
    bad = part_of(end=[1000.0] * 100, failed=[True] * 20 + [False] * 80, part_type=2, name="Shock B")
    found = {one.part.name: one for one in reviewed(good, bad).judged}
    assert found["Shock B"].finding.rank == 1
    assert found["Shock B"].finding.action == "inspect"  # a sister may be used otherwise: not the part's last word
    assert "20 of 100 Shock B leaked; its sister parts 2 of 100" in found["Shock B"].finding.verdict
    assert found["Shock A"].finding.action == "none"


def test_a_maker_with_several_part_types_is_compared_with_the_others():
    maker = {"maker": "Cragside Works"}
    parts = [part_of(end=[1000.0] * 60, failed=[True] * k + [False] * (60 - k), part_type=n, name=f"Shock {n}", **more)
             for n, (k, more) in enumerate([(14, maker), (12, maker), (1, {}), (0, {})], start=1)]  # fmt: skip
    made = [row for one in reviewed(*parts).judged for row in one.study.comparisons if row.dimension == "maker"]
    assert {row.group: row.failed for row in made} == {"Cragside Works": 26, "Hazelwick Parts": 1}


def test_rates_are_drawn_to_the_sisters_and_a_lone_failure_is_not_the_worst():
    one = part_of(end=[100.0] * 3, failed=[True, False, False], part_type=1, name="few")
    many = [
        part_of(end=[1000.0] * 100, failed=[True] * k + [False] * (100 - k), part_type=2 + k, name=f"{k}")
        for k in range(8, 13)
    ]
    found = {j.part.name: j.study.rate for j in reviewed(one, *many).judged}
    assert found["few"].rate > 20 * found["10"].rate
    assert found["few"].shrunk < 2 * found["10"].shrunk
    assert found["few"].usual == pytest.approx(51 / 500_300)


def test_q_looks_at_every_comparison_of_the_review_together():
    parts = as_lives(failing_fleet(4, trikes=80, kinds=("display", "chain")))
    review = reviewed(*parts)
    rows = [row for one in review.judged for row in one.study.comparisons]
    wear = [one.study.life.wear_out_p for one in review.judged if one.study.life.wear_out_p is not None]
    assert review.comparisons == len(rows) + len(wear)
    # Benjamini and Hochberg 1995 as scipy.stats has it.
    q = false_discovery_control([*(row.p for row in rows), *wear])
    assert [row.q for row in rows] == pytest.approx(q[: len(rows)])
    assert {row.dimension for row in rows} >= {"batch", "firmware", "made_year", "model", "severity", "part_type"}


def test_one_life_for_a_bad_batch_and_the_rest_names_no_age_to_replace_at():
    rng = np.random.default_rng(5)
    life = np.where(np.arange(200) < 40, 500 * rng.weibull(4.0, 200), 4000 * rng.weibull(4.0, 200))
    part = part_of(end=np.minimum(life, 900), failed=life < 900, batch=["K"] * 40 + ["L"] * 160)
    one = only(part)
    assert one.finding.action == "stop-fitting"
    assert {reason.kind for reason in one.finding.reasons} == {"batch"}
    assert one.finding.replace_at is None
    assert one.study.life.sentence == one.study.life.mixed == MIXED
    others = next(view for view in one.study.views if view.key == "without")
    assert (others.title, others.counts.parts) == ("all but batch K", 160)


def test_what_is_ahead_goes_by_each_groups_own_law_where_one_is_bad():
    # The bad batch has failed to the last piece; the others never have. Together they would look like wear-out to come.
    rng = np.random.default_rng(2)
    failed = np.arange(200) < 40
    end = np.where(failed, 700 * rng.weibull(6.0, 200), 900.0)
    part = part_of(end=end, failed=failed, batch=["K"] * 40 + ["L"] * 160, ahead=np.where(failed, 0.0, 900.0))
    one = only(part)
    assert one.study.ahead.expected == pytest.approx(0.5 / (160 * 900) * 160 * 900)  # half a failure stands for none
    assert study(part, UNTIL).ahead.expected > 50


def test_wear_out_names_an_age_to_replace_at():
    life = 1000 * np.random.default_rng(5).weibull(4.0, 150)
    one = only(part_of(end=np.minimum(life, 900), failed=life < 900))
    assert one.finding.action == "replace"
    assert 300 < one.finding.replace_at < 900
    assert one.finding.verdict.startswith("Wear-out: the older, the more often they fail.")


def test_an_alarm_of_the_last_month_is_watched_and_names_the_batch():
    n = 60
    failed, month = np.arange(n) < 6, np.where(np.arange(n) < 6, 0, -1)
    end = np.where(failed, 1150.0, 1200.0)
    at = np.minimum(np.tile(100.0 * np.arange(13), (n, 1)), end[:, None])
    one = only(part_of(end=end, failed=failed, month=month, at_month=at, batch=["K"] * n))
    assert one.study.warning.alarmed
    assert one.finding.action == "watch"
    assert [(reason.kind, reason.group) for reason in one.finding.reasons if reason.kind == "warning"] == [
        ("warning", "K")
    ]


def test_the_order_is_that_of_the_evidence_and_every_rank_stands_once():
    review = reviewed(*as_lives(failing_fleet(108, plants=PLANTED)))
    assert [one.finding.rank for one in review.judged] == list(range(1, 27))
    told = [one.finding.q for one in review.judged if one.finding.q is not None]
    assert told == sorted(told)
    assert {one.part.part_type for one in review.judged[:3]} == {plant.part_type for plant in PLANTED}
    assert [one.part.part_type for one in review.judged if one.finding.action != "none"] == [
        one.part.part_type for one in review.judged[:3]
    ]


def test_the_order_of_part_types_and_the_unit_of_distance_change_no_verdict():
    parts = as_lives(failing_fleet(6, trikes=60, kinds=("chain", "idler")))
    told = {
        one.part.part_type: (one.finding.rank, one.finding.q, one.finding.action) for one in reviewed(*parts).judged
    }
    miles = [
        replace(part, **{name: getattr(part, name) / 1.609344 for name in ("entry", "end", "age", "at_month", "ahead")})
        for part in reversed(parts)
    ]
    again = {
        one.part.part_type: (one.finding.rank, one.finding.q, one.finding.action) for one in reviewed(*miles).judged
    }
    assert {n: (rank, action) for n, (rank, _, action) in again.items()} == {n: (r, a) for n, (r, _, a) in told.items()}
    assert [again[n][1] for n in told] == pytest.approx([told[n][1] for n in told])


def test_a_study_comes_back_from_json_as_it_went():
    part = as_lives(failing_fleet(4, trikes=60, kinds=("display",)))[0]
    plain = as_plain(study(part, UNTIL))
    assert as_plain(study_of(json.loads(json.dumps(plain, allow_nan=False)))) == plain
    assert plain["views"]


def test_at_most_one_review_in_twenty_raises_a_false_alarm_against_a_batch():
    # Nothing differs. 120 fleets of 60 trikes, all batches and all other groups of four part types each, tested together.
    # By Benjamini and Hochberg 1995 at most 5 % of reviews have any q <= 0.05 then; twice the binomial error is granted.
    alarms, fleets = 0, 120
    for seed in range(fleets):
        parts = as_lives(failing_fleet(seed, trikes=60, kinds=("display", "lights")))
        p = [
            row.p
            for part in parts
            for name in part.groups
            for row in compared(pieces_of([part]), name, part.groups[name])
        ]
        alarms += bool((false_discovery_control(p) <= 0.05).any())
    assert alarms / fleets <= 0.05 + 2 * (0.05 * 0.95 / fleets) ** 0.5


def test_with_few_failures_the_life_is_bounded_by_a_shape_borrowed_from_a_sister():
    life = 1000 * np.random.default_rng(5).weibull(4.0, 150)
    known = part_of(end=np.minimum(life, 900), failed=life < 900, part_type=1, name="known")
    few = part_of(end=[800.0] * 40, failed=[True] * 2 + [False] * 38, part_type=2, name="few")
    found = {one.part.name: one.study.life for one in reviewed(known, few).judged}
    assert found["few"].borrowed == pytest.approx(found["known"].shape_low)
    # Abernethy, ch. 6: (2 T / chi-square(2 r + 2))^(1 / shape), T = 40 x 800^shape; B10 of it.
    shape = found["few"].borrowed
    eta = (2 * 40 * 800.0**shape / chi2.ppf(0.95, 6)) ** (1 / shape)
    assert found["few"].low_b10 == pytest.approx(eta * (-np.log(0.9)) ** (1 / shape))
    assert found["known"].borrowed is None
