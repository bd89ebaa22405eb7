"""Bad input and what it gets: a row of the contract's table per test. Nothing is ever stored."""

import json

import pytest

from tests import factories as make
from tests.api.conftest import Caller, faults, part_at, problem
from tracker.models import Component, IdempotencyRecord, OdometerReading, Owner

pytestmark = pytest.mark.django_db
READ_AT = "2026-05-01T09:00:00Z"


def reading(trike, **changes):
    return {"trike": trike.pk, "value": 100, "unit": "km", "read_at": READ_AT, **changes}


def raw(desk: Caller, data: bytes, **headers):
    return desk.send("POST", "owners", raw=data, **headers)


@pytest.mark.parametrize(
    "data",
    [
        b"{", b'{"name": ', b"null", b"[]", b'"text"', b"7", b'\xef\xbb\xbf{"name": "A"}', '{"name": "A"}'.encode("utf-16"),
        b'{"name": "\xff"}', b'{"name": 1' + b"0" * 5000 + b"}", b'{"name": "A", "name": "B"}',
        b"[" * 10_000, b'{"name":' * 5_000, b'{"name": ' + b"[" * 40 + b"]" * 40 + b"}",
        json.dumps({f"n{i}": 1 for i in range(501)}).encode(),
    ],
    ids=range(15),
)  # fmt: skip
def test_a_body_that_is_not_one_strict_json_object_is_a_400(desk, data):
    response = raw(desk, data)
    assert response.status_code == 400
    assert response["Content-Type"] == "application/problem+json"
    assert response.json()["type"] in {"/api/problems/malformed", "/api/problems/invalid-body"}
    assert not Owner.objects.exists()


def test_an_empty_body_misses_its_members(desk):
    assert faults(problem(raw(desk, b""), 400, "invalid-body")) == {"/name": "required"}


@pytest.mark.parametrize("text", ["\\u0000", "\\u0007", "\\ud800", "\\udc00x", "\\ufffe"])
@pytest.mark.parametrize("where", ['{"name": "a%s"}', '{"a%s": 1}', '{"rated": {"deep": ["a%s"]}}'])
def test_characters_that_cannot_be_kept_are_refused_anywhere(desk, text, where):
    problem(raw(desk, (where % text).encode()), 400, "bad-text")


@pytest.mark.parametrize("literal", [b"NaN", b"Infinity", b"-Infinity", b"1e400", b"-1e999"])
def test_a_number_that_is_not_finite_is_told_at_its_place(desk, trike, literal):
    data = b'{"trike": %d, "read_at": "%s", "value": %s}' % (trike.pk, READ_AT.encode(), literal)
    body = problem(desk.send("POST", "readings", raw=data), 422, "invalid-values")
    assert faults(body) == {"/value": "not-a-number"}


@pytest.mark.parametrize("value", [True, False, "100", "1_000", "١٢", "NaN", "", [], {}])
def test_what_is_no_number_is_told_at_its_place(desk, trike, value):
    body = problem(desk.post("readings", reading(trike, value=value)), 422, "invalid-values")
    assert faults(body) == {"/value": "not-a-number"}


@pytest.mark.parametrize("value", [-1, -0.001, 1_000_001, int("9" * 40), 10**400])
def test_a_number_out_of_range_is_told_at_its_place(desk, trike, value):
    body = problem(desk.post("readings", reading(trike, value=value)), 422, "invalid-values")
    assert faults(body) == {"/value": "out-of-range"}
    assert not OdometerReading.objects.exists()


def test_minus_zero_is_zero(desk, trike):
    response = desk.send("POST", "readings", raw=json.dumps(reading(trike)).replace("100", "-0.0").encode())
    assert response.status_code == 201
    assert str(response.json()["value"]) == "0.0"


def test_a_null_where_a_value_is_needed_is_told_at_its_place(desk, trike):
    assert faults(problem(desk.post("readings", reading(trike, value=None)), 400, "invalid-body")) == {"/value": "null"}


def test_unknown_members_are_told_by_name_together_with_what_is_missing(desk):
    body = problem(desk.post("owners", {"nmae": "A", "is_admin": True}), 400, "invalid-body")
    assert faults(body) == {"/nmae": "unknown-member", "/is_admin": "unknown-member", "/name": "required"}


@pytest.mark.parametrize("member", ["id", "version", "search_name", "stopped_at", "agreed_at", "phone_e164"])
def test_members_that_only_the_service_writes_are_unknown(desk, member):
    body = problem(desk.post("owners", {"name": "A", member: "x"}), 400, "invalid-body")
    assert faults(body) == {f"/{member}": "unknown-member"}


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("2026-05-01T09:00:00", "naive-time"), ("2026-05-01", "bad-time"), ("yesterday", "bad-time"), (1777626000, "bad-time"),
        ("2026-02-30T09:00:00Z", "bad-time"), ("2026-05-01T24:00:00Z", "bad-time"), ("2026-05-01T09:00:60Z", "bad-time"),
        ("2026-05-01T09:00:00+99:99", "bad-time"), ("0000-01-01T00:00:00Z", "bad-time"), ("10000-01-01T00:00:00Z", "bad-time"),
        ("0001-01-01T00:00:00+14:00", "bad-time"), ("1899-01-01T00:00:00Z", "year"), ("2026-05-01T09:00:00 +01:00", "bad-time"),
    ],
)  # fmt: skip
def test_a_time_that_is_not_rfc_3339_with_offset_is_a_400(desk, trike, text, code):
    body = problem(desk.post("readings", reading(trike, read_at=text)), 400, "invalid-body")
    assert faults(body) == {"/read_at": code}


@pytest.mark.parametrize("text", ["2026-05-01T10:30:00+01:00", "2026-05-01T09:30:00z", "2026-05-01T09:30:00-00:00"])
def test_a_time_with_offset_is_told_in_utc(desk, trike, text):
    assert desk.post("readings", reading(trike, read_at=text)).json()["read_at"] == "2026-05-01T09:30:00Z"


@pytest.mark.parametrize("day", ["01/05/2026", "2026-5-1", "2026-02-30", 20260501, "2026-05-01T00:00:00Z", ""])
def test_a_date_in_another_style_is_a_400(admin, day):
    part_type = make.PartTypeFactory()
    body = {"part_type": part_type.pk, "serial": "A1", "made_on": day}
    assert faults(problem(admin.post("components", body), 400, "invalid-body")) == {"/made_on": "bad-date"}


def test_a_reading_in_the_future_is_refused_and_changes_nothing(desk, trike):
    body = problem(desk.post("readings", reading(trike, read_at="2026-06-01T09:00:00Z")), 422, "reading-in-future")
    assert "/read_at" in faults(body) or "" in faults(body)
    assert not OdometerReading.objects.exists()


def test_a_reading_before_delivery_is_refused(desk, trike):
    problem(desk.post("readings", reading(trike, read_at="2024-06-01T09:00:00Z")), 422, "reading-before-delivery")


def test_an_absurd_speed_is_refused_naming_the_limit(desk, trike):
    make.OdometerReadingFactory(trike=trike, value=2000, read_at="2026-04-30T09:00:00Z")
    body = problem(desk.post("readings", reading(trike, value=9000)), 422, "impossible-speed")
    assert "400" in body["detail"]


def test_a_reading_below_the_last_is_kept_as_suspect_with_choices(desk, trike):
    make.OdometerReadingFactory(trike=trike, value=2000)
    response = desk.post("readings", reading(trike, value=1250))
    assert response.status_code == 201
    assert response.json()["verdict"] == "suspect"
    assert response.json()["proposals"]


@pytest.mark.parametrize("serial", ["", "   ", "\u200b", "A\u202eB", "A\u200bB", "A" * 41])
def test_a_serial_that_could_not_be_found_again_is_a_400(desk, serial):
    response = desk.post("components", {"part_type": make.PartTypeFactory().pk, "serial": serial, "batch": ""})
    assert response.status_code == 400
    assert "/serial" in faults(response.json())
    assert not Component.objects.exists()


@pytest.mark.parametrize("serial", [7, {"a": 1}, ["x"], True])
def test_a_serial_that_is_no_text_is_a_400(desk, serial):
    body = desk.post("components", {"part_type": make.PartTypeFactory().pk, "serial": serial})
    assert faults(problem(body, 400, "invalid-body")) == {"/serial": "wrong-type"}


def test_a_serial_in_another_spelling_is_kept_canonical_and_as_typed(desk):
    response = desk.post("components", {"part_type": make.PartTypeFactory().pk, "serial": "  ａb  12 "})
    assert response.status_code == 201
    assert response.json()["serial"] == "AB 12"
    assert response.json()["serial_as_typed"] == "ａb  12"


def test_a_serial_fitted_elsewhere_is_a_409_that_names_trike_and_position(desk, trike):
    other = make.TrikeFactory()
    body = {"trike": other.pk, "position": "chain", "component": part_at(trike, "chain").pk, "fitted_at": READ_AT}
    answer = problem(desk.post("fitments", body), 409, "serial-already-fitted")
    assert answer["facts"] == {"trike": trike.frame_serial, "position": "chain"}
    assert "swap" in answer["detail"]
    assert faults(answer) == {"/component": "serial-already-fitted"}


def test_a_taken_position_is_a_409_that_names_what_it_holds(desk, trike):
    spare = make.ComponentFactory(part_type__kind="chain")
    body = {"trike": trike.pk, "position": "chain", "component": spare.pk, "fitted_at": READ_AT}
    answer = problem(desk.post("fitments", body), 409, "position-taken")
    assert answer["facts"]["serial"] == part_at(trike, "chain").serial


def test_removed_before_fitted_is_refused_at_its_member(desk, trike):
    fitment = trike.fitments.get(position="chain")
    answer = problem(
        desk.post(f"fitments/{fitment.pk}/remove", {"removed_at": "2020-01-01T00:00:00Z"}), 422, "removed-before-fitted"
    )
    assert faults(answer) == {"/removed_at": "removed-before-fitted"}


def test_a_measurement_impossible_for_its_kind_names_the_plausible_range(mechanic, trike):
    card = make.JobCardFactory(trike=trike)
    body = {"component": part_at(trike, "chain").pk, "quantity": "chain_elongation_pct", "value": 40}
    answer = problem(mechanic.post(f"job-cards/{card.pk}/measurements", body), 422, "impossible-measurement")
    assert any(sign.isdigit() for sign in answer["detail"])


@pytest.mark.parametrize("text", ["<script>alert(1)</script>", '=HYPERLINK("x")', "🚲", "a" + "\u0301" * 10_000])
def test_odd_text_is_kept_as_sent_up_to_its_length(mechanic, trike, text):
    response = mechanic.post("job-cards", {"trike": trike.pk, "complaint": text})
    if len(text) > 10_000:
        assert faults(problem(response, 400, "invalid-body")) == {"/complaint": "too-long"}
    else:
        assert response.json()["complaint"] == text


def test_text_that_turns_its_direction_is_kept_as_sent(mechanic, trike):
    answer = mechanic.post("job-cards", {"trike": trike.pk, "complaint": "a\u202eb"})
    assert answer.json()["complaint"] == "a\u202eb"


def test_a_body_over_a_megabyte_is_a_413(desk):
    problem(raw(desk, b'{"name": "' + b"A" * (1024 * 1024) + b'"}'), 413, "too-large")


@pytest.mark.parametrize(
    "kind",
    ["text/plain", "application/xml", "multipart/form-data; boundary=x", "application/json; charset=latin-1", ""],
)
def test_another_media_type_is_a_415_that_says_which(desk, kind):
    response = raw(desk, b'{"name": "A"}', Content_Type=kind)
    problem(response, 415, "unsupported-media-type")
    assert "application/json" in response["Accept"]


def test_a_method_that_is_closed_is_a_405_with_allow(desk):
    for method in ("PUT", "DELETE", "OPTIONS", "TRACE"):
        response = desk.send(method, "owners")
        problem(response, 405, "method-not-allowed")
        assert "GET" in response["Allow"]


def test_html_is_not_spoken(desk):
    problem(desk.client.get("/api/v1/owners", headers={"Accept": "text/html"}), 406, "not-acceptable")


@pytest.mark.parametrize(
    "pk", ["0", "-1", "1.5", "abc", "9223372036854775808", "9" * 5000, "%00", "%D9%A1", "1%20", "../owners", "1/"]
)
def test_what_is_no_id_is_a_404(desk, pk):
    problem(desk.client.get(f"/api/v1/trikes/{pk}"), 404, "not-found")


@pytest.mark.parametrize("path", ["/api/", "/api/v1/", "/api/v1/nothing", "/api/v2/trikes", "/api/v1/trikes/"])
def test_an_unknown_address_under_api_is_a_problem_too(desk, path):
    problem(desk.client.get(path), 404, "not-found")


@pytest.mark.parametrize(
    "query",
    [
        "colour=red", "state=flying", "state=", "state=%00", "state=delivered&state=delivered", "owner=abc", "owner=-1",
        "owner=99999999999999999999", "owner=1e3", "limit=0", "limit=-1", "limit=201", "limit=99999999999999999999",
        "limit=ten", "cursor=made-up", "cursor=", "order=colour", "plate=%ff", "plate=%e2%80%8b", "plate=%20",
    ],
)  # fmt: skip
def test_a_query_that_cannot_be_used_is_a_400_and_never_ignored(desk, query):
    response = desk.client.get(f"/api/v1/trikes?{query}")
    assert response.status_code == 400
    assert response.json()["type"] in {"/api/problems/bad-query", "/api/problems/bad-cursor"}


@pytest.mark.parametrize(
    ("path", "query"),
    [
        ("due-lines", "due_before=soon"), ("due-lines", "due_before=01/05/2026"), ("due-lines", "safety=yes"),
        ("due-lines", "unit=miles"), ("readings", "read_after=2026-05-01T00:00:00"), ("readings", "read_after=2026-05-01"),
        ("fitments", "current=1"), ("owners/1", "expand=all"),
    ],
)  # fmt: skip
def test_a_filter_of_the_wrong_type_is_a_400(desk, path, query):
    make.OwnerFactory(pk=1)
    problem(desk.client.get(f"/api/v1/{path}?{query}"), 400, "bad-query")


def test_a_query_on_a_write_is_refused(desk):
    response = desk.client.post("/api/v1/owners?dry_run=true", b'{"name": "A"}', content_type="application/json")
    problem(response, 400, "bad-query")


def test_a_change_without_if_match_is_a_428_and_a_stale_one_a_412(desk):
    owner = make.OwnerFactory(version=3)
    address = f"owners/{owner.pk}"
    problem(desk.patch(address, {"name": "B"}), 428, "precondition-required")
    for tag in ('"2"', 'W/"3"', '"2", "4"', '""'):
        answer = desk.patch(address, {"name": "B"}, If_Match=tag)
        problem(answer, 412, "precondition-failed")
        assert answer["ETag"] == '"3"'
    for tag in ("3", "'3'", '"3', "", '"3" "4"'):
        problem(desk.patch(address, {"name": "B"}, If_Match=tag), 400, "bad-if-match")
    owner.refresh_from_db()
    assert owner.version == 3


def test_any_version_matches_a_star_but_nothing_that_is_not_there(desk):
    owner = make.OwnerFactory()
    assert desk.patch(f"owners/{owner.pk}", {"name": "B"}, If_Match="*").status_code == 200
    problem(desk.patch("owners/987654", {"name": "B"}, If_Match="*"), 404, "not-found")


def test_an_empty_change_is_refused(desk):
    owner = make.OwnerFactory()
    problem(desk.patch(f"owners/{owner.pk}", {}, If_Match='"1"'), 400, "invalid-body")


@pytest.mark.parametrize(
    "email", ["a@example.org\r\nBcc: b@example.org", "a@example.org,b@example.org", "a@" + "x" * 260]
)
def test_an_address_that_is_not_one_plain_address_is_refused(desk, email):
    response = desk.post("owners", {"name": "A", "email": email})
    assert response.status_code in {400, 422}
    assert "/email" in faults(response.json())


def test_an_unknown_time_zone_is_refused(desk):
    body = problem(desk.post("owners", {"name": "A", "time_zone": "Mars/Olympus"}), 422, "unknown-time-zone")
    assert faults(body) == {"/time_zone": "unknown-time-zone"}


def test_rated_values_are_told_each_at_its_place(admin):
    body = {"kind": "battery", "part_number": "B-1", "name": "Pack", "rated": {"rated_wh": "many", "colour": "red"}}
    answer = problem(admin.post("part-types", body), 422, "bad-rated-values")
    assert {"/rated/rated_wh", "/rated/colour"} <= set(faults(answer))


@pytest.mark.parametrize("key", ["", " ", '"', "a" * 256, "a\tb", "schlüssel"])
def test_a_malformed_idempotency_key_is_a_400(desk, key):
    problem(desk.post("owners", {"name": "A"}, Idempotency_Key=key), 400, "bad-idempotency-key")
    assert not Owner.objects.exists()


def test_a_session_without_csrf_token_changes_nothing(desk):
    desk.client.handler.enforce_csrf_checks = True
    problem(desk.post("owners", {"name": "A"}), 403, "csrf-failed")
    assert not Owner.objects.exists()


def test_a_host_we_do_not_serve_gets_a_problem_too(desk):
    problem(desk.client.get("/api/v1/trikes", headers={"Host": "evil.example.com"}), 400, "bad-request")


def test_reading_changes_nothing(desk, trike, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as queries:
        for path in ("trikes", f"trikes/{trike.pk}", f"trikes/{trike.pk}/components", "due-lines", "owners", "imports"):
            assert desk.get(path).status_code == 200
    assert not [q["sql"] for q in queries if not q["sql"].lstrip("( ").upper().startswith(("SELECT", "WITH"))]
    assert not IdempotencyRecord.objects.exists()


@pytest.mark.parametrize(
    ("path", "body", "where"),
    [
        ("fitments", {"trike": 1, "position": 7, "component": 1, "fitted_at": READ_AT}, {"/position": "wrong-type"}),
        ("owners", {"name": "A", "reminders_agreed": "yes"}, {"/reminders_agreed": "wrong-type"}),
        ("owners", {"name": "A", "reminders_agreed": 1}, {"/reminders_agreed": "wrong-type"}),
        ("components", {"part_type": "1", "serial": "A1"}, {"/part_type": "not-a-number"}),
        ("components", {"part_type": 1.0, "serial": "A1"}, {"/part_type": "not-a-number"}),
        ("components", {"part_type": True, "serial": "A1"}, {"/part_type": "not-a-number"}),
        ("components", {"part_type": 2**63, "serial": "A1"}, {"/part_type": "out-of-range"}),
        ("components", {"part_type": 1, "serial": "A1", "made_on": "1700-01-01"}, {"/made_on": "year"}),
        ("components", {"part_type": 1, "serial": "A1", "life_before_km": "12"}, {"/life_before_km": "not-a-number"}),
    ],
)
def test_members_take_their_own_type_and_nothing_like_it(desk, path, body, where):
    answer = desk.post(path, body)
    assert answer.status_code in {400, 422}
    assert faults(answer.json()) == where


def test_a_body_longer_than_it_says_is_cut_off_at_the_limit():
    from io import BytesIO

    from tracker.http.parsing import read_limited
    from tracker.http.problems import Problem

    assert read_limited(BytesIO(b"1234"), 0, 4) == b"1234"
    with pytest.raises(Problem, match="4 bytes"):
        read_limited(BytesIO(b"12345"), 0, 4)


def test_swaps_of_another_card_are_not_there(mechanic, trike):
    card, other = make.JobCardFactory(trike=trike), make.JobCardFactory()
    swap = make.SwapFactory(card=other)
    problem(mechanic.delete(f"job-cards/{card.pk}/swaps/{swap.pk}"), 404, "not-found")
