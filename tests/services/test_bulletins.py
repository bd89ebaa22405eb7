"""Bulletins: who is touched, how far it has come, and words that soften."""

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.bulletins import (
    AFFECTED,
    CANNOT_EXCLUDE,
    CORRECTED_ELSEWHERE,
    DONE,
    MOVES,
    NOT_AFFECTED,
    STATES,
    TOLD_DIRECTLY,
    BadScope,
    BadStep,
    Piece,
    Progress,
    Scope,
    check_scope,
    check_step,
    match,
    notice_warnings,
    order_key,
    softening_words,
)
from services.identity import natural_key

SHOCK = Scope(frozenset({"shock"}))
serials = st.text(alphabet="AB01239- ", min_size=0, max_size=8)


# --- natural order


def test_a_range_holds_both_ends_and_nothing_after():  # own rule: A0100 to A0149 are 50 serials
    scope = replace(SHOCK, serials=(("A0100", "A0149"),))
    held = [number for number in range(1000) if match(scope, Piece("shock", f"A{number:04d}")) == AFFECTED]
    assert (len(held), held[0], held[-1]) == (50, 100, 149)


def test_a9_lies_between_a1_and_a10():  # own rule: natural order
    assert match(replace(SHOCK, serials=(("A1", "A10"),)), Piece("shock", "A9")) == AFFECTED
    assert sorted(["A10", "B1", "A9", "A", "A9B"], key=order_key) == ["A", "A9", "A9B", "A10", "B1"]


@given(serials, serials)
def test_the_key_keeps_the_natural_order(one, other):
    assert (order_key(one) < order_key(other)) == (natural_key(one) < natural_key(other))


@given(serials)
def test_leading_zeros_do_not_matter(text):
    assert order_key(text + "X007") == order_key(text + "X7")


# --- matching


@pytest.mark.parametrize(
    ("scope", "piece", "answer"),
    [
        (SHOCK, Piece("shock"), AFFECTED),
        (SHOCK, Piece("motor"), NOT_AFFECTED),
        (replace(SHOCK, serials=(("A1", "A5"), ("C1", "C5"))), Piece("shock", "C3"), AFFECTED),
        (replace(SHOCK, serials=(("A1", "A5"), ("C1", "C5"))), Piece("shock", "B3"), NOT_AFFECTED),
        (replace(SHOCK, serials=(("A1", "A5"),)), Piece("shock", batch="K"), CANNOT_EXCLUDE),
        (replace(SHOCK, batches=frozenset({"K"})), Piece("shock", batch="K"), AFFECTED),
        (replace(SHOCK, batches=frozenset({"K"})), Piece("shock", batch="L"), NOT_AFFECTED),
        (replace(SHOCK, batches=frozenset({"K"})), Piece("shock"), CANNOT_EXCLUDE),
        (replace(SHOCK, firmware=frozenset({"2.1"})), Piece("shock", firmware="2.1"), AFFECTED),
        (replace(SHOCK, firmware=frozenset({"2.1"})), Piece("shock", firmware="2.2"), NOT_AFFECTED),
        (replace(SHOCK, firmware=frozenset({"2.1"})), Piece("shock"), CANNOT_EXCLUDE),
        (replace(SHOCK, made_from=date(2025, 1, 1)), Piece("shock", made_on=date(2025, 1, 1)), AFFECTED),
        (replace(SHOCK, made_until=date(2025, 1, 1)), Piece("shock", made_on=date(2025, 1, 1)), AFFECTED),
        (replace(SHOCK, made_until=date(2025, 1, 1)), Piece("shock", made_on=date(2025, 1, 2)), NOT_AFFECTED),
        (replace(SHOCK, made_from=date(2025, 1, 1)), Piece("shock"), CANNOT_EXCLUDE),
    ],
)
def test_what_a_bulletin_touches(scope, piece, answer):
    assert match(scope, piece) == answer


def test_all_that_is_named_must_hold():
    scope = replace(SHOCK, batches=frozenset({"K"}), made_from=date(2025, 1, 1))
    assert match(scope, Piece("shock", batch="K", made_on=date(2024, 1, 1))) == NOT_AFFECTED
    assert match(scope, Piece("shock", batch="L")) == NOT_AFFECTED  # the batch alone excludes it
    assert match(scope, Piece("shock", batch="K")) == CANNOT_EXCLUDE


@pytest.mark.parametrize(
    ("scope", "field"),
    [
        (Scope(frozenset()), "part_types"),
        (replace(SHOCK, serials=(("A10", "A9"),)), "serials"),
        (replace(SHOCK, serials=(("A10", ""),)), "serials"),
        (replace(SHOCK, serials=(("", "A10"),)), "serials"),
        (replace(SHOCK, made_from=date(2025, 2, 1), made_until=date(2025, 1, 1)), "made_from"),
    ],
)
def test_a_scope_that_cannot_be_is_refused(scope, field):
    with pytest.raises(BadScope) as refused:
        check_scope(scope)
    assert refused.value.field == field


def test_a_sound_scope_passes():
    check_scope(replace(SHOCK, serials=(("A9", "A10"),), made_from=date(2025, 1, 1), made_until=date(2025, 1, 1)))
    check_scope(replace(SHOCK, made_from=date(2025, 1, 1)))


# --- progress


def test_completion_of_a_bulletin():  # worked by hand: 46 affected, 41 corrected, 2 scrapped, 1 unreachable, 2 open
    told = Progress({"corrected": 41, "scrapped": 2, "unreachable": 1, "affected": 2}, contactable=45, owners=46)
    assert told.affected == 46
    assert round(100 * told.completion, 2) == 93.48
    assert round(100 * told.corrected, 2) == 89.13
    assert told.words() == "43 of 46 done (93.5 %), 89.1 % corrected; 45 of 46 owners can be told directly."


def test_a_share_of_owners_too_low_for_direct_notice_is_said():
    words = Progress({"affected": 3}, contactable=2, owners=3).words()
    assert words.endswith("below the 95 % that direct notice needs: look for the others.")


def test_a_bulletin_that_touches_nothing_is_complete():
    told = Progress()
    assert (told.completion, told.corrected, told.contactable_share) == (1.0, 1.0, 1.0)


def test_benchmarks_of_the_us_commission():  # CPSC slides of July 2017: 65, 50, 6 %; direct contact from 95 %
    assert list(CORRECTED_ELSEWHERE.values()) == [0.65, 0.50, 0.06]
    assert TOLD_DIRECTLY == 0.95


def test_every_state_leads_only_to_states():
    assert set(STATES) >= DONE | set().union(*MOVES.values())


def test_work_under_a_bulletin_goes_on_to_its_end():
    for before, after in (("affected", "notified"), ("notified", "booked"), ("booked", "corrected")):
        check_step(before, after)
    check_step("corrected", "affected")  # repetitive


@pytest.mark.parametrize(("before", "after"), [("scrapped", "booked"), ("corrected", "booked"), ("lost", "booked")])
def test_a_step_that_cannot_be_is_refused(before, after):
    with pytest.raises(BadStep) as refused:
        check_step(before, after)
    assert refused.value.remedy.startswith("Possible:")


# --- words of a notice


@pytest.mark.parametrize(
    "text",
    [
        "This is a voluntary recall.",  # Regulation (EU) 2023/988, Article 36(2)(c)
        "In rare situations the hinge may open.",  # the same
        "In very rare cases the hinge may open.",
        "In specific situations it may open.",
        "As a precaution, stop riding.",
        "A precautionary measure.",
        "We voluntarily replace it.",
        "It rarely happens.",
        "It is highly unlikely to fail.",
        "No accidents have been reported.",
        "No injury is known.",
    ],
)
def test_words_that_soften_are_found(text):
    found = softening_words(text)
    assert len(found) == 1
    assert text[found[0].start : found[0].end] == found[0].words


def test_plain_words_pass():
    text = "Stop riding. The folding hinge can open while riding; you can fall. We replace it free of charge."
    assert notice_warnings("PRODUCT SAFETY RECALL", text) == ()


def test_a_notice_is_warned_about_headline_and_words():
    first, second = notice_warnings("An invitation", "This voluntary campaign is free.")
    assert first == "The headline must be 'Product safety recall'."
    assert second.startswith("'voluntary' softens the hazard")
