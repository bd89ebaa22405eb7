import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.identity import BadSerial, BadText, canonical_serial, clean_text, fold_name, natural_key, visible


@pytest.mark.parametrize("typed", ["bt-204x", " BT-204X ", "ＢＴ-204X", "Bt-204x\t", "\r\nbt-204x\r\n"])
def test_case_blanks_and_full_width_letters_do_not_make_another_serial(typed):
    assert canonical_serial(typed) == "BT-204X"


def test_inner_blanks_are_single():
    assert canonical_serial("lt  77") == "LT 77"


@pytest.mark.parametrize(
    "bad",
    [
        "",
        "   ",
        "A\u200bB",
        "A\u202eB",
        "A\x00B",
        "A\ud800",
        "x" * 41,
        "x" * 10_000_000,
        "\ufeffA",
        "A\nB",
        "A\u3164B",
        "A\ufe0f",
        "\u2800",
    ],
)
def test_serials_that_could_not_be_found_again_are_refused(bad):
    with pytest.raises(BadSerial) as refusal:
        canonical_serial(bad)
    assert refusal.value.field == "serial"


def test_a_number_is_no_serial():
    with pytest.raises(BadSerial):
        canonical_serial(204)


@given(st.text(min_size=1, max_size=30))
def test_the_canonical_form_is_its_own_canonical_form(text):
    try:
        once = canonical_serial(text)
    except BadSerial:
        return
    assert canonical_serial(once) == once


@given(st.text(max_size=20), st.text(max_size=20))
def test_any_two_texts_can_be_put_in_natural_order(one, other):
    assert natural_key(one) <= natural_key(other) or natural_key(other) <= natural_key(one)


def test_a_range_of_serials_takes_what_lies_between_as_a_person_counts():
    # own rule: A9 lies in A1 to A10, A0150 does not lie in A0100 to A0149
    assert natural_key("A1") <= natural_key("A9") <= natural_key("A10")
    inside = [n for n in range(2000) if natural_key("A0100") <= natural_key(f"A{n:04d}") <= natural_key("A0149")]
    assert len(inside) == 50


def test_natural_order_puts_a9_before_a10():
    assert sorted(["A10", "A9", "B1", "A100"], key=natural_key) == ["A9", "A10", "A100", "B1"]


def test_serials_that_begin_with_digits_and_with_letters_can_be_sorted_together():
    assert sorted(["B2", "10", "9"], key=natural_key) == ["9", "10", "B2"]


@pytest.mark.parametrize(
    "text", ["brake squeals\nat low speed", "<script>alert(1)</script>", "=1+1", "été 🚲", "a\u202eb"]
)
def test_ordinary_and_hostile_looking_text_is_kept_verbatim(text):
    assert clean_text(text, 100) == text


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("pay\u202egnp.exe", "pay[U+202E]gnp.exe"),
        ("\u061cא", "[U+061C]א"),
        ("\u2066a\u2069", "[U+2066]a[U+2069]"),
        ("été 🚲", "été 🚲"),
    ],
)
def test_what_turns_the_direction_of_text_is_written_out(text, shown):
    """The explicit formatting characters of UAX 9 section 2: LRM, RLM, ALM, embeddings, overrides, isolates."""
    assert visible(text) == shown


@pytest.mark.parametrize("code", [0x061C, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A)])
def test_each_of_the_twelve_is_written_out(code):
    assert visible(chr(code)) == f"[U+{code:04X}]"


@pytest.mark.parametrize("text", ["a\x00b", "a\x07b", "a\ud800b", "x" * 101])
def test_text_that_cannot_be_kept_is_refused(text):
    with pytest.raises(BadText):
        clean_text(text, 100)


@pytest.mark.parametrize(
    ("name", "folded"),
    [
        ("Zoë  Ångström", "zoe angstrom"),
        ("GROß", "gross"),
        ("Søren", "soren"),
        ("ŁĐ", "ld"),
        ("a\x00b\ud800c", "a b c"),
    ],
)
def test_names_fold_accents_case_and_blanks(name, folded):
    assert fold_name(name) == folded
