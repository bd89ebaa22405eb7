"""When a bulletin's work falls due, the code it stands under, and the sentence that says why."""

from datetime import date, timedelta

import pytest

from services.bulletin_due import GRACE_DAYS, Terms, first_due, sentence
from services.bulletins import fold_mark
from services.intervals import Due
from services.kinds import bench_minutes, task
from services.kinds.from_bulletin import code_of, number_of, task_of

JOINED = date(2026, 5, 1)
FACTS = {
    "number": "B-2026-001", "title": "Air shock may leak.", "severity": "mandatory", "certainty": "affected", "done_on": None,
}  # fmt: skip


@pytest.mark.parametrize(
    ("terms", "km", "on", "by_km"),
    [
        (Terms("stop", True), 800.0, JOINED, None),
        (Terms("recommended", True), 800.0, JOINED, None),
        (Terms("mandatory"), 800.0, JOINED + timedelta(days=30), None),
        (Terms("recommended"), None, JOINED + timedelta(days=180), None),
        (Terms("mandatory", deadline_on=date(2026, 7, 1)), 800.0, date(2026, 7, 1), None),
        (
            Terms("mandatory", deadline_on=date(2026, 4, 1)),
            800.0,
            JOINED,
            None,
        ),  # joined after the deadline: due that day
        (Terms("mandatory", deadline_km=500.0), 800.0, None, 1300.0),
        (Terms("mandatory", deadline_km=500.0), None, JOINED + timedelta(days=30), None),  # nobody knows how far it ran
        (Terms("mandatory", deadline_on=date(2026, 7, 1), deadline_km=500.0), 800.0, date(2026, 7, 1), 1300.0),
    ],
)
def test_the_first_time(terms, km, on, by_km):
    told = first_due(terms, JOINED, km)
    assert (told.on, told.km) == (on, by_km)


def test_what_only_informs_is_never_due():
    assert first_due(Terms("information"), JOINED, 800.0) is None


def test_a_hazard_with_a_distance_of_its_own_still_has_a_day():
    told = first_due(Terms("stop", True, deadline_km=100.0), JOINED, 800.0)
    assert (told.on, told.km) == (JOINED + timedelta(days=GRACE_DAYS["stop"]), 900.0)


def test_the_code_says_number_minutes_and_safety():
    code = code_of("B-2026-001", 45, safety=True)
    assert code == "bulletin:B-2026-001:45:safety"
    assert number_of(code) == "B-2026-001"
    found = task(code)
    assert (found.title, found.minutes, found.safety, found.release) == ("Bulletin B-2026-001", 45, True, True)
    assert not task(code_of("B-2026-001", 45, safety=False)).safety
    assert bench_minutes([code, "chain_check"]) == 45 + task("chain_check").minutes


@pytest.mark.parametrize(
    "code", ["", "chain_check", "bulletin:", "bulletin:B-2026-001", "bulletin:B-2026-1:x", "bulletin:x:1"]
)
def test_other_codes_are_no_bulletins(code):
    assert number_of(code) == ""
    assert task_of(code) is None


def test_a_code_nobody_knows_stays_an_error():
    with pytest.raises(KeyError):
        task("bulletin:nothing")


def test_the_longest_code_fits_its_column():
    assert len(code_of("B-2026-999999", 1440, safety=True)) <= 40


@pytest.mark.parametrize(
    ("more", "due", "now_km", "words"),
    [
        ({}, Due(date(2026, 5, 31), "date", None), None, "Bulletin B-2026-001: Air shock may leak (mandatory); due 31 May 2026."),
        ({}, Due(date(2026, 4, 30), "date", None), None,
         "Bulletin B-2026-001: Air shock may leak (mandatory); was due 30 Apr 2026."),
        ({"certainty": "cannot_exclude"}, Due(date(2026, 5, 31), "km", 1300.0), 900.0,
         "Bulletin B-2026-001: Air shock may leak (mandatory); this part cannot be excluded: inspect it; "
         "due 31 May 2026 at 1,300 km, now about 900 km."),
        ({"done_on": "2026-01-05"}, Due(date(2026, 7, 5), "date", None), None,
         "Bulletin B-2026-001: Air shock may leak (mandatory); last done 5 Jan 2026, to be repeated; due 5 Jul 2026."),
    ],
)  # fmt: skip
def test_the_sentence_names_the_bulletin_and_its_numbers(more, due, now_km, words):
    assert sentence(FACTS | more, due, date(2026, 5, 1), now_km) == words


@pytest.mark.parametrize(
    ("one", "other"), [("K-17", " k-17 "), ("Ｋ-17", "k-17"), ("v2.1", "V2.1"), ("a b", "AB"), ("K\u200b1", "k1")]
)
def test_marks_are_compared_without_case_width_and_blanks(one, other):
    assert fold_mark(one) == fold_mark(other)


def test_marks_that_differ_stay_apart():
    assert len({fold_mark(mark) for mark in ("K-17", "K17", "K-18", "")}) == 4
