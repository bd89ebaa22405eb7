"""JSON read strictly: limits at their edges, and that anything JSON can say is understood as any reader would."""

import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tracker.http.parsing import MAX_DEPTH, MAX_MEMBERS, load_strict
from tracker.http.problems import Problem

SAFE = st.text(st.characters(exclude_categories=("Cs", "Cc", "Cn")), max_size=20)
VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**20), 10**20)
    | st.floats(allow_nan=False, allow_infinity=False)
    | SAFE,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(SAFE, inner, max_size=4),
    max_leaves=30,
)


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(VALUES)
def test_what_json_can_say_is_understood_as_any_reader_would(value):
    assert load_strict(json.dumps(value).encode()) == value


def is_json(data):
    try:
        json.loads(data.decode("utf-8"))
    except ValueError:
        return False
    return True


@settings(deadline=None)
@given(st.binary(max_size=200).filter(lambda data: not is_json(data)))
def test_what_is_no_json_is_told_as_a_problem_whatever_its_bytes(data):
    with pytest.raises(Problem) as caught:
        load_strict(data)
    assert caught.value.details.kind.code == "malformed"


def nested(depth):
    return b"[" * depth + b"]" * depth


def test_depth_is_allowed_up_to_its_limit_and_no_further():
    assert load_strict(nested(MAX_DEPTH))
    with pytest.raises(Problem, match="deeper"):
        load_strict(nested(MAX_DEPTH + 1))


def test_names_in_one_object_are_allowed_up_to_their_limit_and_no_further():
    names = {f"n{i}": i for i in range(MAX_MEMBERS)}
    assert load_strict(json.dumps(names).encode()) == names
    with pytest.raises(Problem, match="more than"):
        load_strict(json.dumps(names | {"one more": 1}).encode())


def test_a_name_twice_is_refused_however_it_is_spelled():
    with pytest.raises(Problem, match="twice"):
        load_strict(b'{"a": 1, "\\u0061": 2}')


def test_a_surrogate_pair_is_one_character_and_fine():
    assert load_strict(b'"\\ud83d\\udeb2"') == "🚲"


def test_the_place_of_a_broken_character_is_told_as_a_pointer_with_its_escapes():
    with pytest.raises(Problem) as caught:
        load_strict(b'{"a/b": [{"c~d": "\\u0000"}]}')
    assert [fault.pointer for fault in caught.value.details.faults] == ["/a~1b/0/c~0d"]


def test_where_json_breaks_is_told_by_line_and_column():
    with pytest.raises(Problem, match="line 2, column"):
        load_strict(b'{\n"a" 1}')
