"""The label's code: random, one per trike, kept until somebody replaces it, found in any case."""

import pytest

from services.errors import Refusal
from tests import factories as make
from tests.factories import NOW
from tracker.actions.labels import ALPHABET, LENGTH, mint_label, new_label_code, replace_label
from tracker.actions.refusals import StaleVersion
from tracker.actions.trikes import register_trike
from tracker.queries.labels import address_of, trike_by_label, words_of

pytestmark = pytest.mark.django_db


def test_a_code_has_at_least_eighty_random_bits():
    assert len(ALPHABET) == 32
    assert LENGTH * 5 >= 80
    codes = {new_label_code() for _ in range(500)}
    assert len(codes) == 500
    assert all(len(code) == LENGTH and set(code) <= set(ALPHABET) for code in codes)


def test_a_trike_is_registered_with_a_code_that_tells_nothing_of_it():
    frame = make.ComponentFactory(part_type__kind="frame", serial="F26-1")
    trike = register_trike(frame_component_id=frame.pk, plate="LT-5", now=NOW)
    assert len(trike.label_code) == LENGTH
    assert "F26" not in trike.label_code


def test_the_first_label_asked_for_makes_the_code_and_the_second_keeps_it():
    trike = make.TrikeFactory()
    first = mint_label(trike_id=trike.pk, by=None, now=NOW).label_code
    assert first
    assert mint_label(trike_id=trike.pk, by=None, now=NOW).label_code == first


def test_a_replaced_code_leads_nowhere_any_more():
    trike = mint_label(trike_id=make.TrikeFactory().pk, by=None, now=NOW)
    old = trike.label_code
    new = replace_label(trike_id=trike.pk, version=trike.version, by=None, now=NOW)
    assert trike_by_label(old) is None
    assert trike_by_label(new.label_code) == trike
    with pytest.raises(StaleVersion):
        replace_label(trike_id=trike.pk, version=trike.version, by=None, now=NOW)


def test_there_is_nothing_to_replace_before_the_first_label():
    trike = make.TrikeFactory()
    with pytest.raises(Refusal):
        replace_label(trike_id=trike.pk, version=trike.version, by=None, now=NOW)


def test_a_code_is_found_as_scanned_and_as_typed_and_nothing_else_is():
    trike = make.TrikeFactory(label_code="ABCDEFGHIJKLMNOP2345")
    make.TrikeFactory()  # no label
    assert trike_by_label("abcdefghijklmnop2345") == trike
    for text in ("", " ", "ABCDEFGHIJKLMNOP234", "A" * 4000, "ABCDEFGHIJKLMNOP234é", "%", trike.frame_serial, "None"):
        assert trike_by_label(text) is None


def test_the_label_says_the_plate_and_the_workshop_and_no_serial(settings):
    settings.PUBLIC_URL = "https://desk.example.org"
    trike = make.TrikeFactory(label_code="ABCDEFGHIJKLMNOP2345", plate=None)
    assert address_of(trike) == "https://desk.example.org/t/ABCDEFGHIJKLMNOP2345/"
    words = words_of(trike)
    assert (words.plate, words.workshop, words.phone) == ("", settings.WORKSHOP_NAME, settings.WORKSHOP_PHONE)
