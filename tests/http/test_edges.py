"""Headers, request ids, keys, throttles, entity tags, problem answers: what every request meets at the edge."""

import json
from datetime import timedelta

import pytest
import structlog
import time_machine
from django.core.cache import cache
from django.core.exceptions import RequestDataTooBig, SuspiciousOperation
from django.core.management import CommandError, call_command
from django.db import DatabaseError, DataError, IntegrityError, OperationalError
from django.http import HttpResponse
from django.test import Client, RequestFactory

from services.errors import Refusal
from tests.factories import NOW
from tracker.actions.keys import create_key, digest, revoke_key
from tracker.actions.refusals import Conflict, FieldInvalid, Invalid, NotEnough, StaleVersion
from tracker.http import problems
from tracker.http.headers import policy_for
from tracker.http.problem_kinds import all_kinds, kind_of_refusal
from tracker.http.request_id import RequestId
from tracker.models import ApiClient

HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/login/",
        "/admin/login/",
        "/api/v1/trikes",
        "/api/v1/none",
        "/api/schema/",
        "/api/docs/",
        "/none/",
        "/static/none.css",
    ],
)
def test_every_answer_carries_the_safety_headers(client, db, path):
    response = client.get(path)
    for name, value in HEADERS.items():
        assert response[name] == value, name
    policy = response["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe-eval" not in policy
    assert ("unsafe-inline" in policy) is (path == "/api/docs/")
    assert "geolocation=()" in response["Permissions-Policy"]
    assert ("no-store" in response.get("Cache-Control", "")) is not path.startswith("/static/")


def test_scripts_come_from_our_own_files_on_every_page():
    for path in ("/", "/api/docs/", "/admin/"):
        assert "script-src 'self';" in policy_for(path) + ";"


def test_every_answer_carries_a_request_id_and_a_problem_repeats_it(client, db):
    response = client.get("/api/v1/trikes")
    assert response["X-Request-ID"] == response.json()["request_id"]
    assert client.get("/api/v1/trikes")["X-Request-ID"] != response["X-Request-ID"]


def test_a_harmless_request_id_is_kept_and_any_other_replaced(client, db):
    assert client.get("/api/v1/trikes", headers={"X-Request-ID": "till-2026.05_1"})["X-Request-ID"] == "till-2026.05_1"
    for bad in ("short", "x" * 65, "line\\nbreak1", "with blank1", "<script>aa"):
        assert client.get("/api/v1/trikes", headers={"X-Request-ID": bad})["X-Request-ID"] != bad


def test_log_lines_of_a_request_carry_its_id_and_later_ones_do_not():
    seen = {}

    def view(request):
        seen.update(structlog.contextvars.get_contextvars())
        return HttpResponse()

    request = RequestFactory().get("/x")
    request.resolver_match = None
    response = RequestId(view)(request)
    assert seen["request_id"] == response["X-Request-ID"]
    assert structlog.contextvars.get_contextvars() == {}


def test_the_log_names_the_route_and_never_the_path(client, db, caplog):
    with caplog.at_level("INFO"):
        client.get("/o/a-very-secret-token/")
    assert "a-very-secret-token" not in "".join(
        str(r.msg) for r in caplog.records if r.name == "tracker.http.request_id"
    )


@pytest.mark.parametrize(
    ("error", "status", "code"),
    [
        (IntegrityError("UNIQUE"), 409, "clash"), (OperationalError("locked"), 503, "unavailable"),
        (DataError("x"), 500, "server-error"), (DatabaseError("x"), 500, "server-error"),
        (ValueError("secret"), 500, "server-error"),
        (RequestDataTooBig("x"), 413, "too-large"), (SuspiciousOperation("x"), 400, "bad-request"),
        (Invalid("a", field="b"), 422, "invalid"), (Conflict("a"), 409, "conflict"), (StaleVersion("a"), 412, "stale-version"),
    ],
)  # fmt: skip
def test_an_error_becomes_its_problem_and_tells_nothing_of_the_inside(error, status, code):
    details = problems.details_of(error)
    assert (details.kind.status, details.kind.code) == (status, code)
    assert "secret" not in details.detail
    assert ("Retry-After" in details.headers) is (status == 503)


def test_a_refusal_tells_its_sentence_its_remedy_and_its_member():
    error = FieldInvalid("The moment lies in the future.", field="at", remedy="Use the time it was done.")
    details = problems.details_of(error, {"at": "fitted_at"})
    assert details.detail == "The moment lies in the future. Use the time it was done."
    assert details.faults == (problems.Fault("/fitted_at", "field-invalid", "The moment lies in the future."),)
    assert problems.details_of(NotEnough("x", field="by")).faults[0].pointer == ""


def test_kinds_have_one_title_one_status_and_one_address_each():
    kinds = all_kinds()
    assert len(kinds) > 50
    for code, kind in kinds.items():
        assert kind.uri == f"/api/problems/{code}"
        assert 400 <= kind.status < 600
        assert kind.title
        assert not kind.title.endswith(".")
        assert kind.meaning
        assert "FieldInvalid" not in kind.title

    class Local(Refusal):
        """A rule of this test.

        It explains itself.
        """

        code = "local"

    assert kind_of_refusal(Local).title == "A rule of this test"
    assert kind_of_refusal(Local).meaning == "It explains itself."


@pytest.mark.parametrize(
    ("view", "status"),
    [
        (problems.not_found, 404),
        (problems.bad_request, 400),
        (problems.permission_denied, 403),
        (problems.server_error, 500),
    ],
)
def test_error_views_answer_problems_under_api_and_pages_elsewhere(view, status, rf, db):
    api, page = view(rf.get("/api/x")), view(rf.get("/x"))
    assert (api.status_code, page.status_code) == (status, status)
    assert json.loads(api.content)["status"] == status
    assert page["Content-Type"].startswith("text/html")


def test_what_breaks_outside_a_view_is_a_problem_under_api_and_left_alone_elsewhere(rf):
    def broken(request):
        return HttpResponse("<h1>oops</h1>", status=418, headers={"Retry-After": "3"})

    middleware = problems.ProblemsUnderApi(broken)
    api = middleware(rf.get("/api/x"))
    assert json.loads(api.content)["type"] == "/api/problems/bad-request"
    assert api["Retry-After"] == "3"
    assert middleware(rf.get("/x")).content == b"<h1>oops</h1>"
    assert middleware.process_exception(rf.get("/x"), ValueError()) is None
    assert middleware.process_exception(rf.get("/api/x"), ValueError()).status_code == 500


def key(db_now=NOW, **changes):
    return create_key(**{"name": "till", "role": "desk", "scopes": ["read"], "now": db_now, **changes})


def ask(secret, path="/api/v1/trikes", scheme="Api-Key"):
    return Client().get(path, headers={"Authorization": f"{scheme} {secret}"})


@pytest.mark.django_db
def test_a_key_is_kept_only_as_its_hash():
    client, secret = key()
    row = ApiClient.objects.values().get()
    assert secret not in str(row)
    assert secret.split(".")[1] not in str(row)
    assert row["key_hash"] == digest(secret)
    assert secret.startswith(client.prefix + ".")
    assert len(secret.split(".")[1]) >= 43  # 256 bits in base64


@pytest.mark.django_db
def test_only_the_whole_key_under_its_scheme_opens():
    _, secret = key()
    assert ask(secret).status_code == 200
    assert ask(secret, scheme="api-key").status_code == 200
    prefix, rest = secret.split(".")
    for wrong in (
        secret[:-1],
        secret + "x",
        f"{prefix}.{rest[::-1]}",
        f"{prefix}.",
        prefix,
        f".{rest}",
        "",
        "é.é",
        "x" * 500,
    ):
        assert ask(wrong).status_code == 401
    assert ask(secret, scheme="Bearer").status_code == 401


@pytest.mark.django_db
def test_last_use_is_noted_at_most_once_a_minute():
    _, secret = key()

    def used(after):
        with time_machine.travel(NOW + timedelta(seconds=after), tick=False):
            assert ask(secret).status_code == 200
        return ApiClient.objects.get().last_used_at - NOW

    assert [used(s) for s in (0, 59, 60, 100, 121)] == [timedelta(seconds=s) for s in (0, 0, 60, 60, 121)]


@pytest.mark.django_db
def test_revoking_twice_keeps_the_first_time():
    client, _ = key()
    revoke_key(client_id=client.pk, now=NOW)
    assert revoke_key(client_id=client.pk, now=NOW + timedelta(days=1)).revoked_at == NOW
    with pytest.raises(Invalid):
        revoke_key(client_id=987654, now=NOW)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"name": " "}, NotEnough),
        ({"role": "king"}, FieldInvalid),
        ({"scopes": ["all"]}, FieldInvalid),
        ({"scopes": []}, FieldInvalid),
    ],
)
def test_a_key_needs_a_name_a_role_and_known_scopes(changes, refusal):
    with pytest.raises(refusal):
        key(**changes)


@pytest.mark.django_db
def test_the_command_prints_the_key_once_and_the_name_only_once(capsys):
    call_command("create_api_key", "till", "--role", "desk", "--scope", "read", "--scope", "readings:write")
    secret = capsys.readouterr().out.strip()
    assert ask(secret).status_code == 200
    assert ApiClient.objects.get().scopes == ["read", "readings:write"]
    with pytest.raises(CommandError, match="exists"):
        call_command("create_api_key", "till")


@pytest.mark.django_db
def test_too_many_calls_of_one_key_are_told_to_wait_and_others_are_not(settings):
    settings.REST_FRAMEWORK = {**settings.REST_FRAMEWORK, "DEFAULT_THROTTLE_RATES": {"key": "3/min", "public": "3/min"}}
    cache.clear()
    _, secret = key()
    _, other = key(name="other")
    with time_machine.travel(NOW + timedelta(seconds=20), tick=False):
        answers = [ask(secret) for _ in range(5)]
        assert [answer.status_code for answer in answers] == [200, 200, 200, 429, 429]
        assert answers[-1].json()["type"] == "/api/problems/too-many-requests"
        assert answers[-1]["Retry-After"] == "40"
        assert ask(other).status_code == 200
    with time_machine.travel(NOW + timedelta(seconds=60), tick=False):
        assert ask(secret).status_code == 200


@pytest.mark.django_db
def test_a_lost_counter_stops_nobody(settings, monkeypatch):
    from tracker.http import throttles

    def away(*args, **kwargs):
        raise ConnectionError

    _, secret = key()
    monkeypatch.setattr(throttles, "count", away)
    assert ask(secret).status_code == 200
